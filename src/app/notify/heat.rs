//! Words of kind `heat`.

use super::label::label_of;
use super::scene::{Reader, Scene};
use crate::app::alerts::heat::boats_in;
use crate::domain::alert::heat::{Notice, Word};
use crate::domain::alert::{Advice, Content, Kind, Notification};
use crate::domain::boat::{BoatId, CircuitId, PersonId, SiteId};
use crate::domain::message::{Email, HeatTold, InTheShed, compose_heat};

pub(super) fn words(
    scene: &Scene<'_>,
    notice: &Notice,
    reader: Reader<'_>,
) -> Result<Email, String> {
    compose(scene, notice, reader).map(|(email, _)| email)
}

/// The letter, and the boats that it lists with work to do.
fn compose(
    scene: &Scene<'_>,
    notice: &Notice,
    reader: Reader<'_>,
) -> Result<(Email, Vec<BoatId>), String> {
    let seen = scene.seen()?;
    let place = seen.places.get(&reader.1.id).ok_or("the place was not looked at")?;
    let label = |circuit: &CircuitId| label_of(&scene.app.catalogue, circuit);
    let boats = boats_in(seen, place, notice.trouble, scene.now);
    let low = place.low.filter(|_| place.weather.is_some());
    let forecast = place.forecast.as_ref();
    let told = HeatTold {
        alert: &notice.thread.alert,
        revision: notice.thread.revision,
        earlier: &notice.thread.earlier,
        word: notice.word,
        trouble: notice.trouble,
        boats: &boats,
        low: low.as_ref(),
        forecast: (
            forecast.map_or("", |forecast| forecast.service.as_str()),
            forecast.map(|forecast| forecast.issued_at),
            place.state,
        ),
        until: seen.until,
        seen: place.weather.is_some(),
        was_silent: notice.was_silent,
    };
    let to_do = |line: &&InTheShed<'_>| line.minutes > 0.0;
    let listed = told.listed().iter().filter(to_do).map(|line| line.boat.0.id.clone()).collect();
    let email = compose_heat(&told, &scene.context(reader, &label));
    email.map(|email| (email, listed)).map_err(|error| error.to_string())
}

/// What letters about the heat carry: they list the boats in it, with their parts and minutes, so that the same reader gets no
/// letter of its own about one of them in the same round.
pub(super) struct Carried(Vec<(PersonId, SiteId, Vec<BoatId>)>);

/// Looks which letters about the heat can be written and have an address.
pub(super) fn carried(scene: &Scene<'_>, notifications: &[Notification]) -> Carried {
    let lists = notifications.iter().filter_map(|notification| {
        let Content::Heat(notice) = &notification.content else { return None };
        let reader = scene.reader(notification)?;
        if notice.word != Word::Trouble || reader.0.email.is_none() {
            return None;
        }
        let (_, boats) = compose(scene, notice, reader).ok()?;
        Some((reader.0.id.clone(), notification.site.clone(), boats))
    });
    Carried(lists.collect())
}

impl Carried {
    /// Does one of them say what this advice says?
    pub(super) fn has(&self, advice: &Advice) -> bool {
        let Some(boat) = advice.subject.boat().filter(|_| advice.kind == Kind::Freeze) else {
            return false;
        };
        !advice.closes()
            && self.0.iter().any(|(person, site, boats)| {
                *person == advice.recipient && *site == advice.site && boats.contains(boat)
            })
    }
}
