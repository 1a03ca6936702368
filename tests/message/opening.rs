//! The letter that opens a season asks how an engine is cooled, where nobody has said it.

use rimeward::domain::message::{Context, MessageKey, Opening, Phrases, compose_opening};

use super::samples::{label, sender};
use crate::alert::world::{at, boat, people, site};

#[test]
fn cooling_that_nobody_has_said_is_asked_for_in_the_letter_that_opens_the_season() {
    let (phrases, key, sender) =
        (Phrases::built_in().unwrap(), MessageKey::new(&[7; 32]), sender());
    let (person, site) = (people()[0].clone(), site());
    let context = Context {
        phrases: &phrases,
        sender: &sender,
        key: &key,
        person: &person,
        site: &site,
        label: &label,
        date: at(1, 0),
        picture: None,
    };
    let own = boat("B02", "Second Biscuit");
    let written = |asked: &[&str]| {
        let asked: Vec<String> = asked.iter().map(ToString::to_string).collect();
        let opening = Opening {
            year: 2022,
            boats: &[&own],
            places: &["Larch Hollow".to_owned()],
            cooling_open: &asked,
            worklist: None,
            nudges: false,
        };
        compose_opening(&opening, &context).unwrap().text
    };
    let one = written(&["Second Biscuit"]).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(one.contains("how the engine of Second Biscuit is cooled: raw"), "{one}");
    assert!(!one.contains("a colon before it"), "{one}");
    let two = written(&["Second Biscuit", "Kettle"]);
    assert!(two.split_whitespace().collect::<Vec<_>>().join(" ").contains("a colon before it"));
    assert!(!written(&[]).contains("cooled"));
}
