//! Three hundred boats in one cold night.

use std::collections::BTreeMap;

use rimeward::domain::message::Phrases;

use super::samples::fleet;

#[test]
fn three_hundred_boats_are_one_letter_to_the_manager_and_one_to_each_owner() {
    let fleet = fleet(300);
    let mut owners: BTreeMap<String, usize> = BTreeMap::new();
    let mut rounds = Vec::new();
    for (_, _, _, tellings) in &fleet.boats {
        for telling in tellings {
            match &telling.rollup {
                Some(key) => rounds.push(key.clone()),
                None => *owners.entry(telling.recipient.to_string()).or_default() += 1,
            }
        }
    }
    assert_eq!(owners.len(), 300);
    assert!(owners.values().all(|count| *count == 1));
    assert_eq!(rounds.len(), 300);
    rounds.dedup();
    assert_eq!(rounds.len(), 1, "one recipient, one round: one letter");

    let letter = fleet.rollup(&Phrases::built_in().unwrap());
    assert!(letter.text.starts_with("300 boats at 2 places"), "{}", &letter.text[..80]);
    assert!(letter.text.contains("\n300 "), "every boat is named");
    assert_eq!(letter.text.matches("start by").count(), 300 + 1);
}
