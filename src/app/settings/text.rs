//! Short texts to the telephones of those who agreed to them.

use serde::Deserialize;

use crate::domain::yard::is_mail_address;

/// What stands for the number in the gateway's address.
const NUMBER: &str = "{number}";

/// Digits of a number with its country: ITU-T E.164 (from memory) allows 15 at most; shorter than 8 is no whole number.
const DIGITS: std::ops::RangeInclusive<usize> = 8..=15;

/// How short texts leave. Off while no gateway is named.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct TextSettings {
    /// Mail address of the gateway that makes texts of mail, such as `{number}@texts.example.org`.
    pub gateway: Option<String>,
    /// Country code for numbers that are listed without one, digits only.
    pub country: Option<String>,
}

impl TextSettings {
    /// The gateway's address for a telephone as it is listed; `None` without a gateway, or where the number is not whole.
    #[must_use]
    pub fn address(&self, phone: &str) -> Option<String> {
        let gateway = self.gateway.as_ref()?;
        Some(gateway.replace(NUMBER, &self.number(phone)?))
    }

    /// Country and number, digits only.
    fn number(&self, phone: &str) -> Option<String> {
        let phone = phone.trim();
        let marks = |c: char| c.is_ascii_digit() || " -./()".contains(c);
        let whole = phone.strip_prefix('+').or_else(|| phone.strip_prefix("00"));
        let rest = whole.unwrap_or(phone);
        if !rest.chars().all(marks) {
            return None;
        }
        let digits: String = rest.chars().filter(char::is_ascii_digit).collect();
        let number = if whole.is_some() {
            digits
        } else {
            // The trunk prefix of a number written for its own country.
            format!("{}{}", self.country.as_ref()?, digits.strip_prefix('0').unwrap_or(&digits))
        };
        (DIGITS.contains(&number.len()) && !number.starts_with('0')).then_some(number)
    }

    /// What is wrong with it, one line each.
    pub(crate) fn problems(&self) -> Vec<String> {
        let mut found = Vec::new();
        if let Some(gateway) = &self.gateway {
            let filled = gateway.replacen(NUMBER, "12075550101", 1);
            if filled == *gateway || filled.contains('{') || !is_mail_address(&filled) {
                found.push(format!(
                    "text.gateway = {gateway:?}: must be one plain mail address with {NUMBER} once in it, such as {NUMBER}@texts.your.domain"
                ));
            }
        }
        if let Some(country) = &self.country {
            let digits = country.bytes().all(|b| b.is_ascii_digit());
            if !digits || !(1..=3).contains(&country.len()) || country.starts_with('0') {
                found.push(format!(
                    "text.country = {country:?}: must be a country code of one to three digits without + or zeros before it, such as \"1\""
                ));
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings(country: Option<&str>) -> TextSettings {
        let gateway = Some("{number}@texts.example.org".to_owned());
        TextSettings { gateway, country: country.map(str::to_owned) }
    }

    #[test]
    fn a_number_is_written_with_its_country_or_not_at_all() {
        let us = settings(Some("1"));
        for (phone, number) in [
            ("207-555-0101", Some("12075550101")),
            ("+44 (20) 7946 0018", Some("442079460018")),
            ("0044 20 7946 0018", Some("442079460018")),
            ("(207) 555.0101", Some("12075550101")),
            ("", None),
            ("555", None),
            ("call Tess", None),
            ("+1207555010199999", None),
            ("207-555-0101\r\nBcc: x@y", None),
            ("\u{662}\u{660}\u{667}5550101", None),
        ] {
            let address = number.map(|number| format!("{number}@texts.example.org"));
            assert_eq!(us.address(phone), address, "{phone:?}");
        }
        assert_eq!(settings(None).address("207-555-0101"), None, "of which country?");
        assert_eq!(TextSettings::default().address("+12075550101"), None, "no gateway");
    }

    #[test]
    fn a_gateway_is_an_address_with_a_place_for_the_number() {
        assert!(settings(Some("1")).problems().is_empty());
        for wrong in [
            "texts.example.org",
            "sms@t.example.org",
            "{number}{number}@t.example",
            "{nr}@t.example",
        ] {
            let wrong = TextSettings { gateway: Some(wrong.into()), country: Some("+1".into()) };
            assert_eq!(wrong.problems().len(), 2, "{wrong:?}");
        }
    }
}
