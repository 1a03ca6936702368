//! A letter as bytes.

use rimeward::adapters::delivery::{MimeError, to_bytes};
use rimeward::domain::message::{Email, Mailbox};

use crate::support::at;

fn mailbox(name: &str, address: &str) -> Mailbox {
    Mailbox { name: name.to_owned(), address: address.to_owned() }
}

pub fn letter() -> Email {
    Email {
        message_id: "mfzwizltoqfawc2lpnzq3tia@rimeward.example".to_owned(),
        date: at("2023-02-02T11:30:00Z"),
        from: mailbox("Quillback Cove freeze watch", "yard@quillback.example"),
        reply_to: Some(mailbox("Yard office", "office@quillback.example")),
        to: mailbox("Zoë Ångström", "zoe@example.org"),
        subject: "Zweites Brötchen: drain the block before 16:00 today".to_owned(),
        text: format!(
            "B02 Second Biscuit, U-3\n\n  block_raw   13 °F / -10.5 °C\n\n{}\nFrom the yard office\n-- \nQuillback",
            "The block holds lake water since 5 November. ".repeat(6)
        ),
        html: Some("<p>B02 Second Biscuit: <b>−10,5 °C</b></p>\n".to_owned()),
        in_reply_to: Some("two@rimeward.example".to_owned()),
        references: vec!["one@rimeward.example".to_owned(), "two@rimeward.example".to_owned()],
        list_id: Some("freeze.quillback.example".to_owned()),
        unsubscribe: Some("stop+P02@quillback.example".to_owned()),
        urgent: true,
        calendar: None,
        short: None,
        picture: None,
    }
}

fn text(letter: &Email) -> String {
    String::from_utf8(to_bytes(letter).unwrap()).unwrap()
}

fn header_names(message: &str) -> Vec<&str> {
    let (head, _) = message.split_once("\r\n\r\n").unwrap();
    head.split("\r\n")
        .filter(|line| !line.starts_with([' ', '\t']))
        .map(|line| line.split_once(':').unwrap().0)
        .collect()
}

#[test]
fn a_letter_has_the_headers_that_were_promised_and_no_others() {
    let message = text(&letter());
    assert_eq!(
        header_names(&message),
        [
            "From",
            "To",
            "Subject",
            "Date",
            "Message-ID",
            "Reply-To",
            "In-Reply-To",
            "References",
            "Auto-Submitted",
            "List-Id",
            "List-Unsubscribe",
            "Importance",
            "MIME-Version",
            "Content-Type"
        ]
    );
    for line in [
        "Date: Thu, 02 Feb 2023 11:30:00 +0000\r\n",
        "Message-ID: <mfzwizltoqfawc2lpnzq3tia@rimeward.example>\r\n",
        "In-Reply-To: <two@rimeward.example>\r\n",
        "References: <one@rimeward.example> <two@rimeward.example>\r\n",
        "Auto-Submitted: auto-generated\r\n",
        "List-Id: <freeze.quillback.example>\r\n",
        "List-Unsubscribe: <mailto:stop+P02@quillback.example>\r\n",
        "Importance: high\r\n",
        "Content-Transfer-Encoding: quoted-printable\r\n",
    ] {
        assert!(message.contains(line), "{line} is missing in\n{message}");
    }
    let quiet = Email { urgent: false, ..letter() };
    assert!(!text(&quiet).contains("Importance"));
}

#[test]
fn every_line_is_short_and_ascii_and_ends_in_crlf() {
    let long = Email {
        subject: "Zoë ".repeat(400),
        to: mailbox(&"Ångström ".repeat(200), "zoe@example.org"),
        references: (0..300)
            .map(|n| format!("{n}.abcdefghijklmnopqrst@rimeward.example"))
            .collect(),
        text: "x".repeat(5000),
        ..letter()
    };
    for letter in [letter(), long] {
        let message = text(&letter);
        assert!(message.is_ascii());
        for line in message.split("\r\n") {
            assert!(line.len() <= 78, "{} bytes: {line}", line.len());
            assert!(!line.contains(['\r', '\n', '\0']), "{line:?}");
        }
    }
}

#[test]
fn the_root_of_a_long_thread_stays() {
    let ids = (0..300).map(|n| format!("id{n}@rimeward.example")).collect();
    let message = text(&Email { references: ids, ..letter() });
    for (id, there) in [
        ("<id0@", true),
        ("<id1@", false),
        ("<id280@", false),
        ("<id281@", true),
        ("<id299@", true),
    ] {
        assert_eq!(message.contains(id), there, "{id}");
    }
}

#[test]
fn the_same_letter_gives_the_same_bytes_and_another_another_boundary() {
    assert_eq!(to_bytes(&letter()).unwrap(), to_bytes(&letter()).unwrap());
    let other = Email { message_id: "other@rimeward.example".to_owned(), ..letter() };
    let boundary = |letter: &Email| {
        let message = text(letter);
        let at = message.find("boundary=\"").unwrap() + 10;
        message[at..at + 34].to_owned()
    };
    assert_ne!(boundary(&letter()), boundary(&other));
}

#[test]
fn nothing_that_people_typed_makes_a_header() {
    let attack = "Kite\r\nBcc: all@example.org\r\n\r\nGo away\0\u{202E}";
    let hostile = Email {
        subject: attack.to_owned(),
        to: mailbox(attack, "zoe@example.org"),
        from: mailbox("\"x\" <evil@example.org>, y", "yard@quillback.example"),
        ..letter()
    };
    let message = text(&hostile);
    assert_eq!(header_names(&message), header_names(&text(&letter())));
    // The whole of it is a name in an encoded word, not a second address.
    let (head, _) = message.split_once("\r\n\r\n").unwrap();
    let from = head.lines().find(|line| line.starts_with("From: ")).unwrap();
    assert!(from.ends_with("?= <yard@quillback.example>") && !from.contains("evil"), "{from}");
    let encoded = Email { subject: "=?utf-8?Q?=0D=0ABcc:_x?=".to_owned(), ..letter() };
    assert!(text(&encoded).contains("Subject: = ?utf-8?Q?=0D=0ABcc:_x?=\r\n"));
}

#[test]
fn addresses_and_ids_that_are_not_plain_are_refused() {
    for address in
        ["zoe@example.org\r\nBcc: x@y", "zoë@example.org", "\"a b\"@example.org", "nobody", ""]
    {
        let letter = Email { to: mailbox("Zoë", address), ..letter() };
        assert!(
            matches!(to_bytes(&letter), Err(MimeError::Address { field: "To", .. })),
            "{address:?}"
        );
    }
    for (field, letter) in [
        ("Message-ID", Email { message_id: "a b@c".to_owned(), ..letter() }),
        ("In-Reply-To", Email { in_reply_to: Some("a>@c".to_owned()), ..letter() }),
        ("References", Email { references: vec!["a\r\n@c".to_owned()], ..letter() }),
        ("List-Id", Email { list_id: Some("a b".to_owned()), ..letter() }),
    ] {
        assert!(
            matches!(to_bytes(&letter), Err(MimeError::Id { field: found, .. }) if found == field)
        );
    }
    let before_time = Email { date: at("1969-12-31T23:00:00Z"), ..letter() };
    assert!(matches!(to_bytes(&before_time), Err(MimeError::Date(_))));
}

#[test]
fn a_letter_without_html_is_one_part() {
    let message = text(&Email { html: None, ..letter() });
    assert!(!message.contains("multipart"));
    assert!(
        message.contains("Content-Type: text/plain; charset=utf-8; format=flowed; delsp=no\r\n")
    );
}

#[test]
fn a_picture_goes_with_the_html_that_shows_it() {
    use mail_parser::{MessageParser, MimeHeaders};
    use rimeward::domain::message::chart::Picture;
    use rimeward::domain::message::picture_id;

    let plain = letter();
    let id = picture_id(&plain.message_id);
    let pixels: Vec<u8> = (0..=255).cycle().take(3000).collect();
    let shown = Email {
        html: Some(format!("<p><img src=\"cid:{id}\" alt=\"low -6 C\"></p>\n")),
        picture: Some(Picture { png: pixels.clone(), alt: "low -6 C".to_owned() }),
        calendar: Some("BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n".to_owned()),
        ..plain
    };
    let bytes = to_bytes(&shown).unwrap();
    assert_eq!(bytes, to_bytes(&shown).unwrap(), "a retry is the same to the byte");
    let message = MessageParser::default().parse(&bytes).unwrap();
    let kinds: Vec<String> = message
        .parts
        .iter()
        .map(|part| {
            part.content_type().map_or_else(String::new, |t| {
                format!("{}/{}", t.ctype(), t.subtype().unwrap_or_default())
            })
        })
        .collect();
    // RFC 2046, 5.1.4 and RFC 2387: the plainest first, the picture beside the HTML alone, what is attached last.
    let expect = [
        "multipart/mixed",
        "multipart/alternative",
        "text/plain",
        "multipart/related",
        "text/html",
        "image/png",
        "text/calendar",
    ];
    assert_eq!(kinds, expect);
    let picture = &message.parts[5];
    assert_eq!(picture.contents(), pixels);
    assert_eq!(picture.content_id(), Some(id.as_str()), "RFC 2392: the name that the HTML uses");
    assert!(picture.content_disposition().is_some_and(|d| d.is_inline()));
    let text = String::from_utf8(bytes).unwrap();
    assert!(text.lines().all(|line| line.len() <= 998) && text.is_ascii());
}
