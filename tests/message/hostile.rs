//! Names that people should not have typed.

use rimeward::domain::alert::Target;
use rimeward::domain::message::Email;

use super::lint::visible;
use super::samples::{life, mild};
use crate::alert::world::World;

const NAMES: [&str; 7] = [
    "Nice\r\nBcc: everybody@example.org\r\n\r\n<p>",
    "<script>alert('x')</script><img src=x onerror=y>",
    "\u{202e}tiucsiB dnoceS\u{202c}",
    "\u{1f6a4}\u{200d}\u{1f30a} \u{1f9ca}\u{1f9ca}",
    "{{ 7 * 7 }}{% raw %}",
    "",
    "A name that goes on and on, far past what anybody would paint on a transom, and then on",
];

fn clean(letter: &Email, name: &str) {
    let html = letter.html.as_ref().unwrap();
    for part in [&letter.subject, &letter.from.name, &letter.to.name, &letter.message_id] {
        assert!(!part.contains(['\r', '\n']), "{name:?}: {part:?}");
        assert!(!part.chars().any(char::is_control), "{name:?}: {part:?}");
    }
    assert!(letter.subject.chars().count() <= 60, "{}", letter.subject);
    assert!(!html.contains("<script") && !html.contains("<img"), "{name:?}");
    assert!(!visible(html).contains('\u{202e}') && !letter.text.contains('\u{202e}'), "{name:?}");
    assert!(!letter.text.contains("49"), "a name is not a template");
    assert!(letter.text.lines().all(|line| line.chars().count() <= 76), "{}", letter.text);
}

#[test]
fn hostile_names_stay_words() {
    for name in NAMES {
        let change = |world: &mut World| {
            mild(world);
            world.situation.site.name = name.into();
            world.situation.site.duty_phone = Some(name.into());
            world.situation.service = name.into();
            for person in &mut world.situation.people {
                person.name = name.into();
            }
            if let Target::Boat { boat, rows, .. } = &mut world.situation.target {
                boat.name = name.into();
                boat.location = name.into();
                for row in rows {
                    row.instance = Some(name.into());
                }
            }
        };
        for sample in life("returned", change) {
            clean(&sample.letter, name);
        }
    }
}

#[test]
fn a_long_name_is_cut_and_the_deed_and_hour_stay() {
    let change = |world: &mut World| {
        if let Target::Boat { boat, .. } = &mut world.situation.target {
            boat.name = NAMES[6].into();
        }
    };
    let letter = &life("returned", change)[0].letter;
    assert!(letter.subject.contains("drain by Fri 14:40 - 21 F (-6 C)"), "{}", letter.subject);
}
