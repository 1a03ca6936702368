//! A picture for a letter: the air that is forecast, the temperature of the parts that matter, where they freeze and burst,
//! and the latest start; and the same facts in words for whoever does not see it. The text of a letter is complete without it.
//!
//! Drawn as SVG 1.1 with plain shapes and text only, so that any renderer gives the same. Colours differ in lightness and the
//! lines in dashes as well, for readers who see no colours.

use std::fmt::Write as _;

use chrono::{DateTime, TimeDelta, Timelike as _, Utc};
use chrono_tz::Tz;

use super::words::{day, one_line, to_five_minutes};
use crate::domain::alert::chance::SpokenChance;
use crate::domain::units::{Celsius, TemperatureScale, in_both_scales};

/// Size of the picture in its own units; letters are 600 wide.
pub const WIDTH: u32 = 600;
/// Height with the legend.
pub const HEIGHT: u32 = 400;
/// Parts that are drawn: more lines than that nobody reads.
pub const PARTS_MOST: usize = 3;
const LEFT: f64 = 46.0;
const RIGHT: f64 = 554.0;
const TOP: f64 = 44.0;
const BOTTOM: f64 = 300.0;
const LEGEND: f64 = 336.0;
const LEGEND_LINE: f64 = 19.0;
/// Less than this above its first ice there is ice in a part, K.
const AT_FIRST_ICE_K: f64 = 0.06;
/// Air beyond what is drawn, K.
const MARGIN_K: f64 = 2.0;
/// The picture spans no less than this, K.
const SPAN_K_LEAST: f64 = 12.0;
/// Longest name of a part in the legend.
const NAME_LETTERS: usize = 44;
const TITLE_LETTERS: usize = 62;
const LINES: [(&str, &str); PARTS_MOST] = [("#b23a00", ""), ("#005a8c", "8 3"), ("#4a6b00", "2 3")];

/// One part.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// As the reader calls it.
    pub name: String,
    /// Its temperature at the end of each hour, C, in the middle of what is possible.
    pub middle_c: Vec<f64>,
    /// Where its first ice forms, C.
    pub first_ice_c: f64,
    /// Where a third of it is ice, C, where that is another temperature.
    pub burst_c: Option<f64>,
    /// The chance that it passes its limit, 0 to 1.
    pub chance: f64,
    /// From when on it is in danger.
    pub danger: Option<DateTime<Utc>>,
}

/// What is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// The boat, or the place.
    pub title: String,
    /// The clock of the place.
    pub zone: Tz,
    /// The reader's scale; the other stands on the right.
    pub scale: TemperatureScale,
    /// The first hour.
    pub from: DateTime<Utc>,
    /// The present.
    pub now: DateTime<Utc>,
    /// Air of each hour, C: 8 in 10 lie between the first and the last, half below the one between.
    pub air_c: Vec<[f64; 3]>,
    /// The most pressing parts.
    pub parts: Vec<Part>,
    /// When work must have begun.
    pub latest_start: Option<DateTime<Utc>>,
}

/// A drawn picture with its words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// Portable network graphics.
    pub png: Vec<u8>,
    /// The same facts in words.
    pub alt: String,
}

impl Chart {
    /// The picture; `None` where there is nothing to draw.
    #[must_use]
    pub fn svg(&self) -> Option<String> {
        let frame = Frame::of(self)?;
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{WIDTH}\" height=\"{HEIGHT}\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" \
             font-family=\"DejaVu Sans\" font-size=\"12\" fill=\"#202428\">\
             <rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"#ffffff\"/>"
        );
        text(&mut svg, (LEFT, 22.0), "start", "15", &one_line(&self.title, TITLE_LETTERS));
        self.days(&frame, &mut svg);
        self.scales(&frame, &mut svg);
        self.air(&frame, &mut svg);
        let limits = self.limits(&frame, &mut svg);
        self.parts(&frame, &mut svg);
        // Last, so that no line runs through them.
        for (y, name) in limits {
            halo(&mut svg, (RIGHT - 4.0, y - 6.0), "end", "11", name);
        }
        self.start(&frame, &mut svg);
        self.legend(&mut svg);
        svg.push_str("</svg>");
        Some(svg)
    }

    /// The same in words; what a reader hears who does not see the picture.
    #[must_use]
    pub fn alt(&self) -> String {
        let both = |celsius: f64| in_both_scales(Celsius::clamped(celsius), self.scale);
        let at = |time: DateTime<Utc>| {
            let local = time.with_timezone(&self.zone);
            format!("{} {}", day(time, self.zone), local.format("%H:%M"))
        };
        let mut alt = format!("Chart: {}.", one_line(&self.title, TITLE_LETTERS));
        let lows = self.air_c.iter().enumerate();
        if let Some((hour, [p10, p50, p90])) = lows.min_by(|(_, a), (_, b)| a[1].total_cmp(&b[1])) {
            let _ = write!(
                alt,
                " The air is forecast at its lowest {}: {}, 8 in 10 between {} and {}.",
                at(self.hour(hour)),
                both(*p50),
                both(*p10),
                both(*p90)
            );
        }
        for part in self.parts.iter().take(PARTS_MOST) {
            let lowest = part.middle_c.iter().copied().fold(f64::INFINITY, f64::min);
            let _ = write!(alt, " {}:", one_line(&part.name, NAME_LETTERS));
            if lowest.is_finite() {
                let _ = write!(alt, " down to {} by our reckoning,", both(lowest));
            }
            let _ = write!(alt, " first ice at {}", both(part.first_ice_c));
            if let Some(burst) = part.burst_c.filter(|c| part.first_ice_c - c > 0.5) {
                let _ = write!(alt, ", a third ice at {}", both(burst));
            }
            if let Some(danger) = part.danger.filter(|danger| *danger > self.from) {
                let _ = write!(alt, ", in danger from {}", at(danger));
            }
            let _ = write!(alt, ", {}.", chance_in_short(part.chance));
        }
        match (self.latest_start, self.start_ahead()) {
            (_, Some(start)) => {
                let _ = write!(alt, " Latest start: {}.", at(start));
            }
            (Some(_), None) => alt.push_str(" The latest start has passed."),
            (None, None) => {}
        }
        alt
    }

    fn hour(&self, hour: usize) -> DateTime<Utc> {
        self.from + TimeDelta::hours(i64::try_from(hour).unwrap_or(0))
    }

    /// A line at each midnight of the place, with the day to the right of it.
    fn days(&self, frame: &Frame, svg: &mut String) {
        for hour in 0..=self.air_c.len() {
            let time = self.hour(hour);
            let local = time.with_timezone(&self.zone);
            if local.hour() != 0 && hour > 0 {
                continue;
            }
            let x = frame.x(time);
            if local.hour() == 0 {
                line(svg, (x, TOP), (x, BOTTOM), "#d4d8dc", "1", "");
            }
            // A short piece of a day at either end has no room for its name.
            if hour == 0 && local.hour() > 15 || x > RIGHT - 40.0 {
                continue;
            }
            text(svg, (x + 4.0, BOTTOM + 16.0), "start", "12", &day(time, self.zone));
        }
    }

    fn scales(&self, frame: &Frame, svg: &mut String) {
        let other = match self.scale {
            TemperatureScale::F => TemperatureScale::C,
            TemperatureScale::C => TemperatureScale::F,
        };
        let sides = [(self.scale, LEFT - 6.0, "end", true), (other, RIGHT + 6.0, "start", false)];
        for (scale, x, anchor, has_lines) in sides {
            let (step, name) = match scale {
                TemperatureScale::F => (10.0, "F"),
                TemperatureScale::C => (5.0, "C"),
            };
            text(svg, (x, TOP - 10.0), anchor, "12", name);
            let (low, high) = (scale.of_celsius(frame.low_c), scale.of_celsius(frame.high_c));
            let mut value = (low / step).ceil() * step;
            while value <= high {
                let y = frame.y(scale.as_celsius(value));
                if has_lines {
                    line(svg, (LEFT, y), (RIGHT, y), "#eceff1", "1", "");
                }
                text(svg, (x, y + 4.0), anchor, "12", &format!("{:.0}", value + 0.0));
                value += step;
            }
        }
    }

    fn air(&self, frame: &Frame, svg: &mut String) {
        let at = |(hour, celsius): (usize, f64)| {
            format!("{:.1},{:.1}", frame.x(self.hour(hour)), frame.y(celsius))
        };
        let upper = self.air_c.iter().map(|a| a[2]).enumerate().map(at);
        let lower = self.air_c.iter().map(|a| a[0]).enumerate().map(at);
        let mut around: Vec<String> = upper.collect();
        let mut back: Vec<String> = lower.collect();
        back.reverse();
        around.append(&mut back);
        let _ = write!(svg, "<polygon points=\"{}\" fill=\"#dfe5ea\"/>", around.join(" "));
        let middle = self.air_c.iter().map(|a| a[1]).enumerate().map(at);
        polyline(svg, &middle.collect::<Vec<_>>(), "#7b8894", "1.5", "");
    }

    /// Where each part has its first ice, and where a third of it is ice; equal ones once.
    fn limits(&self, frame: &Frame, svg: &mut String) -> Vec<(f64, &'static str)> {
        let (mut drawn, mut named): (Vec<f64>, Vec<(f64, &str)>) = Default::default();
        for part in self.parts.iter().take(PARTS_MOST) {
            let burst = part.burst_c.filter(|c| part.first_ice_c - c > 0.5);
            let limits =
                [(Some(part.first_ice_c), "first ice", "6 4"), (burst, "a third ice", "2 4")];
            for (celsius, name, dashes) in limits {
                let Some(celsius) = celsius.filter(|c| (frame.low_c..frame.high_c).contains(c))
                else {
                    continue;
                };
                if drawn.iter().any(|other| (other - celsius).abs() < 0.3) {
                    continue;
                }
                drawn.push(celsius);
                let y = frame.y(celsius);
                line(svg, (LEFT, y), (RIGHT, y), "#202428", "1", dashes);
                named.push((y, name));
            }
        }
        named
    }

    fn parts(&self, frame: &Frame, svg: &mut String) {
        for (part, (colour, dashes)) in self.parts.iter().zip(LINES) {
            let points: Vec<String> = part
                .middle_c
                .iter()
                .enumerate()
                .map(|(hour, celsius)| {
                    let end = self.hour(hour.saturating_add(1));
                    format!("{:.1},{:.1}", frame.x(end), frame.y(*celsius))
                })
                .collect();
            polyline(svg, &points, colour, "2.5", dashes);
            // Water stands at its first ice while ice grows in it: the temperature alone would look mild.
            let freezes = |celsius: &f64| *celsius < part.first_ice_c + AT_FIRST_ICE_K;
            let mut runs: Vec<Vec<String>> = vec![Vec::new()];
            for (point, celsius) in points.iter().zip(&part.middle_c) {
                match (freezes(celsius), runs.last_mut()) {
                    (true, Some(run)) => run.push(point.clone()),
                    (false, _) => runs.push(Vec::new()),
                    (true, None) => {}
                }
            }
            for run in runs.iter().filter(|run| run.len() > 1) {
                let _ = write!(
                    svg,
                    "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"9\" stroke-opacity=\"0.35\"/>",
                    run.join(" ")
                );
            }
            let danger = part.danger.filter(|danger| *danger > self.from);
            let at = danger.and_then(|danger| {
                // Temperatures are those at the ends of the hours.
                let hour =
                    usize::try_from((danger - self.from).num_hours()).ok()?.saturating_sub(1);
                Some((danger, *part.middle_c.get(hour.min(part.middle_c.len().checked_sub(1)?))?))
            });
            if let Some((danger, celsius)) = at {
                let (x, y) = (frame.x(danger), frame.y(celsius));
                let _ = write!(
                    svg,
                    "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4.5\" fill=\"#ffffff\" stroke=\"{colour}\" stroke-width=\"2\"/>"
                );
            }
        }
    }

    /// The latest start as the letters round it; `None` where it has passed.
    fn start_ahead(&self) -> Option<DateTime<Utc>> {
        self.latest_start.map(to_five_minutes).filter(|start| *start > self.now)
    }

    fn start(&self, frame: &Frame, svg: &mut String) {
        let Some(latest) = self.latest_start else { return };
        let Some(start) = self.start_ahead() else {
            halo(svg, (LEFT + 5.0, TOP + 8.0), "start", "12", "the latest start has passed");
            return;
        };
        let x = frame.x(latest);
        line(svg, (x, TOP - 4.0), (x, BOTTOM), "#202428", "2", "");
        let words = format!("start by {}", start.with_timezone(&self.zone).format("%H:%M"));
        let (anchor, x) = if x > 440.0 { ("end", x - 5.0) } else { ("start", x + 5.0) };
        halo(svg, (x, TOP + 8.0), anchor, "12", &words);
    }

    fn legend(&self, svg: &mut String) {
        let mut y = LEGEND;
        let _ = write!(
            svg,
            "<rect x=\"{LEFT}\" y=\"{:.1}\" width=\"28\" height=\"10\" fill=\"#dfe5ea\"/>",
            y - 9.0
        );
        line(svg, (LEFT, y - 4.0), (LEFT + 28.0, y - 4.0), "#7b8894", "1.5", "");
        text(
            svg,
            (LEFT + 36.0, y),
            "start",
            "12",
            "air: 8 in 10 within the band; thick: ice in it; ring: danger begins",
        );
        for (part, (colour, dashes)) in self.parts.iter().zip(LINES) {
            y += LEGEND_LINE;
            line(svg, (LEFT, y - 4.0), (LEFT + 28.0, y - 4.0), colour, "2.5", dashes);
            let name =
                format!("{}: {}", one_line(&part.name, NAME_LETTERS), chance_in_short(part.chance));
            text(svg, (LEFT + 36.0, y), "start", "12", &name);
        }
    }
}

/// `chance 70 %`, `chance over 95 %`.
fn chance_in_short(chance: f64) -> String {
    let spoken = SpokenChance::of(chance);
    let bound = match (spoken.bound, spoken.percent < 50) {
        (false, _) => "",
        (true, true) => "under ",
        (true, false) => "over ",
    };
    format!("chance {bound}{} %", spoken.percent)
}

/// From hours and temperatures to the picture.
struct Frame {
    from: DateTime<Utc>,
    hours: f64,
    low_c: f64,
    high_c: f64,
}

impl Frame {
    fn of(chart: &Chart) -> Option<Self> {
        let drawn = chart
            .parts
            .iter()
            .take(PARTS_MOST)
            .flat_map(|part| part.middle_c.iter().copied().chain([part.first_ice_c]));
        let all: Vec<f64> =
            chart.air_c.iter().flatten().copied().chain(drawn).filter(|c| c.is_finite()).collect();
        let low = all.iter().copied().min_by(f64::total_cmp)? - MARGIN_K;
        let high = all.iter().copied().max_by(f64::total_cmp)? + MARGIN_K;
        let short = ((SPAN_K_LEAST - (high - low)) / 2.0).max(0.0);
        let hours = f64::from(u32::try_from(chart.air_c.len()).ok()?);
        (hours >= 2.0).then_some(Self {
            from: chart.from,
            hours,
            low_c: low - short,
            high_c: high + short,
        })
    }

    fn x(&self, time: DateTime<Utc>) -> f64 {
        let share = (time - self.from).as_seconds_f64() / 3600.0 / self.hours;
        LEFT + (RIGHT - LEFT) * share.clamp(0.0, 1.0)
    }

    fn y(&self, celsius: f64) -> f64 {
        let share = (celsius - self.low_c) / (self.high_c - self.low_c);
        BOTTOM - (BOTTOM - TOP) * share.clamp(0.0, 1.0)
    }
}

fn line(
    svg: &mut String,
    (x1, y1): (f64, f64),
    (x2, y2): (f64, f64),
    colour: &str,
    width: &str,
    dashes: &str,
) {
    let _ = write!(
        svg,
        "<line x1=\"{x1:.1}\" y1=\"{y1:.1}\" x2=\"{x2:.1}\" y2=\"{y2:.1}\" stroke=\"{colour}\" stroke-width=\"{width}\"{}/>",
        dashed(dashes)
    );
}

fn polyline(svg: &mut String, points: &[String], colour: &str, width: &str, dashes: &str) {
    let _ = write!(
        svg,
        "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"{}/>",
        points.join(" "),
        dashed(dashes)
    );
}

fn dashed(dashes: &str) -> String {
    if dashes.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{dashes}\"") }
}

/// Only letters that the font has and that stand one after the other: what needs shaping or other fonts is drawn as a question
/// mark. The text of the letter and the words beside the picture have it whole.
fn drawable(words: &str) -> String {
    let plain = |c: char| matches!(c, ' '..='~' | '\u{a0}'..='\u{2ff}' | '\u{370}'..='\u{482}' | '\u{48a}'..='\u{52f}' | '\u{2010}'..='\u{2026}');
    words.chars().map(|c| if plain(c) { c } else { '?' }).collect()
}

/// Words over lines, with light around them.
fn halo(svg: &mut String, at: (f64, f64), anchor: &str, size: &str, words: &str) {
    let mut plain = String::new();
    text(&mut plain, at, anchor, size, words);
    let light = "<text paint-order=\"stroke\" stroke=\"#ffffff\" stroke-width=\"4\"";
    svg.push_str(&plain.replacen("<text", light, 1));
}

/// What people typed stands in it only escaped.
fn text(svg: &mut String, (x, y): (f64, f64), anchor: &str, size: &str, words: &str) {
    let _ = write!(
        svg,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" font-size=\"{size}\">{}</text>",
        quick_xml::escape::escape(drawable(words))
    );
}
