//! One mail through relays that others wrote: aiosmtpd with TLS and a password, and Debian's Postfix with its real queue.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use super::kill::queue;
use super::neighbours::free_port;
use super::{Home, relay_on, until};
use crate::flow::rimeward;
use crate::support::TempDir;
use rimeward::app::ports::*;

const POSTFIX: &str = "/usr/sbin/postfix";
const NOBODY: u32 = 65534;

/// Ends with the value.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// The relay and the lines that it prints; `None` where Python or aiosmtpd is missing and may be. The lines are read as they
/// come: a pipe that is full of letters would keep the relay from answering.
fn aiosmtpd(manner: &str, password: &str) -> Option<(Running, u16, Receiver<String>)> {
    let python = std::env::var_os("RIMEWARD_PYTHON").unwrap_or_else(|| "python3".into());
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut child = Command::new(python)
        .arg(root.join("tests/peers/relay.py"))
        .arg(manner)
        .arg(root.join("tests/support/tls/server.pem"))
        .arg(root.join("tests/support/tls/server.key"))
        .args(["yard", password])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .ok()?;
    let mut lines = BufReader::new(child.stdout.take()?);
    let running = Running(child);
    let mut port = String::new();
    lines.read_line(&mut port).unwrap();
    let (send, receive) = channel();
    std::thread::spawn(move || {
        for line in lines.lines().map_while(Result::ok) {
            if send.send(line).is_err() {
                break;
            }
        }
    });
    Some((running, port.trim().parse().ok()?, receive))
}

#[test]
fn one_mail_goes_through_a_relay_with_tls_and_a_password() {
    let authority = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/support/tls/authority.pem");
    for (manner, password, taken) in
        [("tls", "right", true), ("starttls", "right", true), ("starttls", "other", false)]
    {
        let Some((_relay, port, lines)) = aiosmtpd(manner, "right") else {
            let required = std::env::var_os("RIMEWARD_PEERS").is_some_and(|v| v == "required");
            assert!(!required, "aiosmtpd could not be run");
            println!("aiosmtpd could not be run: passed over");
            return;
        };
        let home = Home::new("aiosmtpd", &relay_on(port));
        let secret = home.folder.path().join("smtp.password");
        fs::write(&secret, password).unwrap();
        let mode = Command::new("/bin/chmod").arg("600").arg(&secret).status().unwrap();
        assert!(mode.success());
        home.configure(&format!(
            "[mail.smtp]\nhost = \"localhost\"\nport = {port}\nsecurity = \"{manner}\"\nuser = \"yard\"\npassword_file = \"smtp.password\"\nca_file = \"{authority}\"\n"
        ));
        queue(&home.store(), 0..1);
        let output = rimeward(Some(&home.config()), &["round"]);
        let letter = &home.store().letters(Some("test-0")).unwrap()[0];
        let answer = letter.answer.clone().unwrap_or_default();
        if taken {
            assert_eq!(letter.state, OutboxState::Sent, "{manner}: {answer}");
            let line = lines.recv_timeout(Duration::from_secs(60)).unwrap();
            let seen: serde_json::Value = serde_json::from_str(&line).unwrap();
            assert_eq!((&seen["tls"], &seen["user"]), (&true.into(), &true.into()), "{line}");
            assert!(seen["text"].as_str().unwrap().contains("Message-ID:"), "{line}");
        } else {
            // A wrong password is the operator's to mend: the letter waits for it.
            assert_ne!(letter.state, OutboxState::Sent);
            assert_ne!(letter.state, OutboxState::Failed, "{answer}");
        }
        let printed = [output.stdout, output.stderr].concat();
        assert!(!String::from_utf8_lossy(&printed).contains(password), "the password is printed");
    }
}

/// Stopped with the value: its master is not our child's process alone.
struct Postfix {
    home: TempDir,
    _foreground: Running,
}

impl Drop for Postfix {
    fn drop(&mut self) {
        let settings = self.home.path().join("c");
        let _ = Command::new(POSTFIX).arg("-c").arg(settings).arg("stop").output();
    }
}

/// A Postfix of its own, which delivers everything for example.org into `boxes/all` of its folder.
fn postfix(port: u16) -> Postfix {
    let home = TempDir::new("postfix");
    let folder = home.path();
    let at = folder.display();
    for name in ["q", "d", "c", "boxes"] {
        fs::create_dir(folder.join(name)).unwrap();
    }
    let owned = Command::new("/bin/sh")
        .args(["-c", &format!("chown postfix {at}/d && chown {NOBODY} {at}/boxes")])
        .status()
        .unwrap();
    assert!(owned.success());
    let main = format!(
        "compatibility_level = 3.6\nqueue_directory = {at}/q\ndata_directory = {at}/d\n\
         inet_interfaces = 127.0.0.1\ninet_protocols = ipv4\nmyhostname = relay.example.org\n\
         mydestination =\nvirtual_mailbox_domains = example.org\nvirtual_mailbox_base = {at}/boxes\n\
         virtual_mailbox_maps = static:all/\nvirtual_uid_maps = static:{NOBODY}\n\
         virtual_gid_maps = static:{NOBODY}\nvirtual_minimum_uid = 100\nalias_maps =\n\
         alias_database =\nmaillog_file = /dev/stdout\nmynetworks = 127.0.0.0/8\n"
    );
    let master = format!(
        "127.0.0.1:{port} inet n - n - - smtpd\n\
         pickup unix - n n 60 1 pickup\ncleanup unix n - n - 0 cleanup\nqmgr unix n - n 300 1 qmgr\n\
         rewrite unix - - n - - trivial-rewrite\nbounce unix - - n - 0 bounce\n\
         defer unix - - n - 0 bounce\ntrace unix - - n - 0 bounce\nproxymap unix - - n - - proxymap\n\
         error unix - - n - - error\nretry unix - - n - - error\nvirtual unix - n n - - virtual\n\
         anvil unix - - n - 1 anvil\npostlog unix-dgram n - n - 1 postlogd\n"
    );
    fs::write(folder.join("c/main.cf"), main).unwrap();
    fs::write(folder.join("c/master.cf"), master).unwrap();
    let log = fs::File::create(folder.join("log")).unwrap();
    let child = Command::new(POSTFIX)
        .args(["-c", &format!("{at}/c"), "start-fg"])
        .stdout(log)
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    Postfix { home, _foreground: Running(child) }
}

#[test]
#[expect(clippy::disallowed_methods, reason = "whether this is CI comes from outside")]
fn one_mail_goes_through_the_real_queue_of_postfix() {
    let root = Command::new("/usr/bin/id").arg("-u").output().is_ok_and(|id| id.stdout == b"0\n");
    if !Path::new(POSTFIX).exists() || !root {
        assert!(std::env::var("CI").is_err(), "Postfix is missing, or this is not root");
        println!("Postfix is not installed, or this is not root: passed over");
        return;
    }
    let port = free_port();
    let postfix = postfix(port);
    let folder = postfix.home.path();
    until("Postfix listens", || std::net::TcpStream::connect(("127.0.0.1", port)).is_ok());
    let home = Home::new("through-postfix", &relay_on(port));
    queue(&home.store(), 0..1);
    rimeward(Some(&home.config()), &["round"]);
    let letter = home.store().letters(Some("test-0")).unwrap()[0].clone();
    assert_eq!(letter.state, OutboxState::Sent, "{:?}", letter.answer);
    // Its answer names its own queue's number, which an operator looks for in the relay's log.
    assert!(letter.answer.is_some_and(|answer| answer.contains("queued as")));
    let new = folder.join("boxes/all/new");
    let begun = Instant::now();
    while fs::read_dir(&new).map_or(0, Iterator::count) == 0 {
        let log = fs::read_to_string(folder.join("log")).unwrap_or_default();
        assert!(begun.elapsed() < Duration::from_secs(60), "not delivered in a minute: {log}");
        std::thread::sleep(Duration::from_millis(20));
    }
    let file = fs::read_dir(&new).unwrap().next().unwrap().unwrap().path();
    let text = fs::read_to_string(file).unwrap();
    assert!(text.contains("Message-ID:") && text.contains("Return-Path:"), "{text}");
}
