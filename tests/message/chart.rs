//! The chart of a letter: what stands in the drawing and in the words beside it, and that it becomes a picture.

use chrono::TimeDelta;
use quick_xml::Reader;
use quick_xml::events::Event;
use rimeward::adapters::delivery::picture::png;
use rimeward::domain::message::chart::{Chart, HEIGHT, Part, WIDTH};
use rimeward::domain::units::TemperatureScale;

use crate::support::at;

fn chart() -> Chart {
    let from = at("2022-11-19T17:00:00Z");
    let turn = |hour: i32| (f64::from(hour - 18) / 24.0 * std::f64::consts::TAU).cos();
    let air_c = (0..72).map(|h| {
        let middle = -2.0 - 4.0 * turn(h) - f64::from(h) / 24.0;
        [middle - 2.0, middle, middle + 2.5]
    });
    let part = |name: &str, middle_c: Vec<f64>, first_ice_c: f64, burst_c| Part {
        name: name.into(),
        middle_c,
        first_ice_c,
        burst_c,
        chance: 0.97,
        danger: Some(from + TimeDelta::hours(14)),
    };
    Chart {
        title: "Second Biscuit, Upper Lot".into(),
        zone: chrono_tz::America::New_York,
        scale: TemperatureScale::F,
        from,
        now: from,
        air_c: air_c.collect(),
        parts: vec![
            part(
                "engine block",
                (0..72).map(|h| (6.0 - f64::from(h) / 4.0).max(0.0)).collect(),
                0.0,
                Some(0.0),
            ),
            part("toilet", (0..72).map(|h| 4.0 - f64::from(h) / 5.0).collect(), -7.0, Some(-10.5)),
        ],
        latest_start: Some(from + TimeDelta::hours(4)),
    }
}

/// Names of the elements and their text, by a reader that is not ours.
fn elements(svg: &str) -> (Vec<String>, String) {
    let mut reader = Reader::from_str(svg);
    let (mut names, mut words) = (Vec::new(), String::new());
    loop {
        match reader.read_event().unwrap() {
            Event::Eof => return (names, words),
            Event::Start(start) | Event::Empty(start) => {
                names.push(start.name().as_ref().to_owned());
            }
            Event::Text(text) => {
                words.push_str(&text);
                words.push('|');
            }
            _ => {}
        }
    }
}

#[test]
fn the_drawing_shows_air_parts_limits_days_and_the_latest_start() {
    let svg = chart().svg().unwrap();
    let (names, words) = elements(&svg);
    let count = |name: &str| names.iter().filter(|n| *n == name).count();
    // The block stands at its first ice from the 24th hour on, the toilet is below its own at the end: thick pieces.
    assert_eq!(
        (count("polygon"), count("polyline")),
        (1, 5),
        "band; middle, two parts, ice in both"
    );
    assert_eq!(count("circle"), 2, "where the danger of each part begins");
    for expect in
        ["first ice", "a third ice", "start by 16:00", "Sun 20 Nov", "engine block", "F", "C"]
    {
        assert!(words.contains(expect), "{expect}: {words}");
    }
    // Water has its first ice and a third of ice at one temperature: one line, not two.
    assert_eq!(words.matches("a third ice").count(), 1, "{words}");
    assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
}

#[test]
fn the_words_say_what_the_drawing_shows() {
    let alt = chart().alt();
    for expect in [
        "Second Biscuit, Upper Lot",
        "at its lowest Tue 22 Nov 06:00: 16 F (-9 C), 8 in 10 between",
        "toilet: down to 14 F (-10 C)",
        "first ice at 19 F (-7 C), a third ice at 13 F (-11 C)",
        "in danger from Sun 20 Nov 02:00, chance over 95 %.",
        "Latest start: Sat 19 Nov 16:00.",
    ] {
        assert!(alt.contains(expect), "{expect}: {alt}");
    }
    let late = Chart { now: at("2022-11-20T00:00:00Z"), ..chart() };
    assert!(late.alt().ends_with("The latest start has passed."), "{}", late.alt());
    assert!(late.svg().unwrap().contains("the latest start has passed"));
    let metric = Chart { scale: TemperatureScale::C, ..chart() }.alt();
    assert!(metric.contains("-9 C (16 F)"), "{metric}");
}

#[test]
fn it_becomes_a_picture_that_is_the_same_every_time() {
    let svg = chart().svg().unwrap();
    let picture = png(&svg).unwrap();
    assert_eq!(picture, png(&svg).unwrap());
    // Portable network graphics, third edition, 5.2 and 11.2.1: signature, then the header with width and height.
    assert!(picture.starts_with(b"\x89PNG\r\n\x1a\n"));
    let number = |from: usize| u32::from_be_bytes(picture[from..from + 4].try_into().unwrap());
    assert_eq!((number(16), number(20)), (WIDTH * 5 / 4, HEIGHT * 5 / 4));
    assert!(picture.len() < 60_000, "a letter stays under 100 kB: {}", picture.len());
    // The font is there: without its words the picture would be another.
    let wordless = svg.replace("Second Biscuit", "").replace("engine block", "");
    assert_ne!(picture, png(&wordless).unwrap());
    assert!(png("<svg").is_err());
}

#[test]
fn hostile_names_and_odd_figures_neither_break_out_nor_draw_nonsense() {
    let names = ["</text><script>x</script>", "a & b \"c\"", "\u{202e}gnol\u{0}\u{7}", "🥶🥶🥶"];
    for name in names {
        let mut one = chart();
        one.title = name.into();
        one.parts[0].name = name.repeat(40);
        let svg = one.svg().unwrap();
        let (found, _) = elements(&svg);
        assert!(!found.iter().any(|n| n == "script"), "{svg}");
        png(&svg).unwrap();
    }
    let nothing = Chart { air_c: Vec::new(), parts: Vec::new(), ..chart() };
    assert_eq!(nothing.svg(), None);
    let flat =
        Chart { air_c: vec![[0.0; 3]; 72], parts: Vec::new(), latest_start: None, ..chart() };
    png(&flat.svg().unwrap()).unwrap();
    let broken = Chart { air_c: vec![[f64::NAN; 3]; 72], parts: Vec::new(), ..chart() };
    assert_eq!(broken.svg(), None);
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(24))]
    /// A name that ended the drawing would end the service with it.
    #[test]
    fn any_name_is_drawn(name in "\\PC{0,60}", part in ".{0,60}") {
        let mut one = chart();
        (one.title, one.parts[0].name) = (name, part);
        proptest::prop_assert!(png(&one.svg().unwrap()).is_ok());
    }
}
