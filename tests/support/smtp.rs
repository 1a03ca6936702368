//! A small SMTP server on loopback whose answers the test sets.

use std::collections::VecDeque;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use data_encoding::BASE64;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};

/// Where a scripted answer applies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum At {
    Greeting,
    Mail,
    Rcpt,
    Data,
    /// After the final dot: the message has been read whole.
    Dot,
    Rset,
}

/// What the server does there, once.
#[derive(Debug, Clone, Copy)]
pub enum Act {
    /// This line in place of the usual one.
    Reply(&'static str),
    /// Hangs up without a word; after the final dot, the message counts as accepted.
    Drop,
    /// Says nothing until the client goes away; after the final dot, the message counts as accepted.
    Stall,
    /// Answers as usual, after so many milliseconds.
    Late(u64),
}

/// How the server speaks TLS.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tls {
    None,
    Implicit,
    /// After STARTTLS.
    Upgrade,
}

/// A message that was read to its final dot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Received {
    pub from: String,
    pub to: String,
    pub bytes: Vec<u8>,
    /// We took it over: said 250, or stopped after the dot.
    pub accepted: bool,
}

#[derive(Default)]
struct Shared {
    script: Mutex<VecDeque<(At, Act)>>,
    /// What happens there every time, while it is set.
    manner: Mutex<Option<(At, Act)>>,
    /// One address that is answered so at RCPT.
    refused: Mutex<Option<(String, &'static str)>>,
    received: Mutex<Vec<Received>>,
    commands: Mutex<Vec<String>>,
    connections: AtomicUsize,
}

pub struct SmtpServer {
    pub port: u16,
    shared: Arc<Shared>,
}

/// What one server is like.
#[derive(Clone)]
struct Manner {
    tls: Tls,
    /// `name\0password` that AUTH PLAIN must carry.
    login: Option<&'static str>,
}

impl SmtpServer {
    /// Starts on a free port. Each entry of the script is used once, at the first time its place is reached.
    pub fn start(script: &[(At, Act)]) -> Self {
        Self::start_with(script, Tls::None, None)
    }

    pub fn start_with(script: &[(At, Act)], tls: Tls, login: Option<&'static str>) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let shared = Arc::new(Shared {
            script: Mutex::new(script.iter().copied().collect()),
            ..Shared::default()
        });
        let (inside, manner) = (Arc::clone(&shared), Manner { tls, login });
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                let (shared, manner) = (Arc::clone(&inside), manner.clone());
                shared.connections.fetch_add(1, Ordering::SeqCst);
                // A client that goes away in the middle ends its thread, not the test.
                std::thread::spawn(move || serve(stream.unwrap(), &shared, &manner));
            }
        });
        Self { port, shared }
    }

    /// Adds to the script.
    pub fn add(&self, at: At, act: Act) {
        self.shared.script.lock().unwrap().push_back((at, act));
    }

    /// From now on this happens every time; `None` ends it.
    pub fn always(&self, manner: Option<(At, Act)>) {
        *self.shared.manner.lock().unwrap() = manner;
    }

    /// Answers RCPT for this address with `reply` from now on.
    pub fn refuse(&self, address: &str, reply: &'static str) {
        *self.shared.refused.lock().unwrap() = Some((address.to_owned(), reply));
    }

    pub fn refuse_nobody(&self) {
        *self.shared.refused.lock().unwrap() = None;
    }

    pub fn received(&self) -> Vec<Received> {
        self.shared.received.lock().unwrap().clone()
    }

    pub fn commands(&self) -> Vec<String> {
        self.shared.commands.lock().unwrap().clone()
    }

    pub fn connections(&self) -> usize {
        self.shared.connections.load(Ordering::SeqCst)
    }
}

trait Wire: Read + Write {}
impl<T: Read + Write> Wire for T {}

fn serve(stream: TcpStream, shared: &Shared, manner: &Manner) -> Option<()> {
    let raw = stream.try_clone().ok()?;
    let wire: Box<dyn Wire> = match manner.tls {
        Tls::Implicit => Box::new(tls(stream)),
        Tls::None | Tls::Upgrade => Box::new(stream),
    };
    let mut session = Session {
        wire,
        shared,
        manner,
        encrypted: manner.tls == Tls::Implicit,
        from: String::new(),
        to: String::new(),
    };
    session.answer(At::Greeting, "220 localhost ESMTP test")?;
    loop {
        let line = session.line()?;
        shared.commands.lock().unwrap().push(line.clone());
        let word = line.split_whitespace().next().unwrap_or("").to_ascii_uppercase();
        match word.as_str() {
            "EHLO" => session.hello()?,
            "STARTTLS" if manner.tls == Tls::Upgrade => {
                session.say("220 2.0.0 go on")?;
                session.wire = Box::new(tls(raw.try_clone().ok()?));
                session.encrypted = true;
            }
            "AUTH" => session.auth(&line)?,
            "MAIL" => {
                session.from = between(&line);
                session.answer(At::Mail, "250 2.1.0 ok")?;
            }
            "RCPT" => {
                session.to = between(&line);
                let refused = shared.refused.lock().unwrap().clone();
                match refused.filter(|(address, _)| *address == session.to) {
                    Some((_, reply)) => session.say(reply)?,
                    None => drop(session.answer(At::Rcpt, "250 2.1.5 ok")?),
                }
            }
            "DATA" => session.data()?,
            "RSET" => {
                session.answer(At::Rset, "250 2.0.0 ok")?;
            }
            "QUIT" => {
                session.say("221 2.0.0 bye")?;
                return Some(());
            }
            _ => session.say("500 5.5.1 unknown command")?,
        }
    }
}

struct Session<'a> {
    wire: Box<dyn Wire>,
    shared: &'a Shared,
    manner: &'a Manner,
    encrypted: bool,
    from: String,
    to: String,
}

impl Session<'_> {
    fn hello(&mut self) -> Option<()> {
        self.say("250-localhost")?;
        if self.manner.tls == Tls::Upgrade && !self.encrypted {
            self.say("250-STARTTLS")?;
        }
        if self.manner.login.is_some() {
            self.say("250-AUTH PLAIN")?;
        }
        self.say("250 ENHANCEDSTATUSCODES")
    }

    fn auth(&mut self, line: &str) -> Option<()> {
        let given = line.split_whitespace().nth(2).unwrap_or("");
        let wanted = BASE64.encode(format!("\0{}", self.manner.login.unwrap_or("")).as_bytes());
        if given == wanted {
            self.say("235 2.7.0 in")
        } else {
            self.say("535 5.7.8 wrong password")
        }
    }

    fn data(&mut self) -> Option<()> {
        if !self.answer(At::Data, "354 go on")? {
            return Some(());
        }
        let mut bytes = Vec::new();
        loop {
            let line = self.raw_line()?;
            if line == b".\r\n" {
                break;
            }
            bytes.extend_from_slice(line.strip_prefix(b".").unwrap_or(&line));
        }
        let act = self.take(At::Dot);
        let accepted = !matches!(act, Some(Act::Reply(reply)) if !reply.starts_with('2'));
        let (from, to) = (self.from.clone(), self.to.clone());
        self.shared.received.lock().unwrap().push(Received { from, to, bytes, accepted });
        self.perform(act, "250 2.0.0 queued as 4711").map(drop)
    }

    /// Answers as usual or as the script says. Returns whether the answer was the usual one; `None` ends the session.
    fn answer(&mut self, at: At, usual: &str) -> Option<bool> {
        let act = self.take(at);
        self.perform(act, usual)
    }

    fn perform(&mut self, act: Option<Act>, usual: &str) -> Option<bool> {
        match act {
            None => self.say(usual).map(|()| true),
            Some(Act::Reply(reply)) => self.say(reply).map(|()| false),
            Some(Act::Drop) => None,
            Some(Act::Late(wait)) => {
                std::thread::sleep(std::time::Duration::from_millis(wait));
                self.say(usual).map(|()| true)
            }
            Some(Act::Stall) => {
                while self.line().is_some() {}
                None
            }
        }
    }

    fn take(&self, at: At) -> Option<Act> {
        let mut script = self.shared.script.lock().unwrap();
        match script.iter().position(|(found, _)| *found == at) {
            Some(place) => script.remove(place).map(|(_, act)| act),
            None => {
                let manner = *self.shared.manner.lock().unwrap();
                manner.filter(|(found, _)| *found == at).map(|(_, act)| act)
            }
        }
    }

    fn say(&mut self, line: &str) -> Option<()> {
        self.wire.write_all(format!("{line}\r\n").as_bytes()).ok()?;
        self.wire.flush().ok()
    }

    fn line(&mut self) -> Option<String> {
        let line = self.raw_line()?;
        Some(String::from_utf8_lossy(&line).trim_end().to_owned())
    }

    fn raw_line(&mut self) -> Option<Vec<u8>> {
        let mut line = Vec::new();
        let mut byte = [0_u8];
        while !line.ends_with(b"\r\n") {
            self.wire.read_exact(&mut byte).ok()?;
            line.push(byte[0]);
        }
        Some(line)
    }
}

fn between(line: &str) -> String {
    let start = line.find('<').map_or(0, |at| at + 1);
    let end = line.find('>').unwrap_or(line.len());
    line[start..end].to_owned()
}

/// The authority that signed the test server's certificate.
pub const AUTHORITY: &[u8] = include_bytes!("tls/authority.pem");

fn tls(stream: TcpStream) -> StreamOwned<ServerConnection, TcpStream> {
    let chain = vec![CertificateDer::from_pem_slice(include_bytes!("tls/server.pem")).unwrap()];
    let key = PrivateKeyDer::from_pem_slice(include_bytes!("tls/server.key")).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(chain, key)
        .unwrap();
    StreamOwned::new(ServerConnection::new(Arc::new(config)).unwrap(), stream)
}
