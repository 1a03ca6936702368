//! A local server that answers as badly as a test wants: raw bytes over a socket, cut off or dripping.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

/// What goes over the wire.
#[derive(Clone)]
pub struct Reply {
    pub status: u16,
    pub headers: Vec<(&'static str, String)>,
    pub body: Vec<u8>,
    /// Close after this many bytes of the body.
    pub cut_at: Option<usize>,
    /// Send one byte at a time, this far apart.
    pub drip: Option<Duration>,
}

impl Reply {
    pub fn new(status: u16, body: impl Into<Vec<u8>>) -> Self {
        let kind = ("Content-Type", "application/geo+json".to_owned());
        Self { status, headers: vec![kind], body: body.into(), cut_at: None, drip: None }
    }

    pub fn problem(status: u16, kind: &str) -> Self {
        let body = format!(
            r#"{{"title":"{kind}","type":"https://api.weather.gov/problems/{kind}","status":{status},"detail":"own words"}}"#
        );
        let mut reply = Self::new(status, body);
        reply.headers = vec![("Content-Type", "application/problem+json".to_owned())];
        reply
    }

    pub fn with(mut self, name: &'static str, value: impl Into<String>) -> Self {
        self.headers.retain(|(n, _)| *n != name);
        self.headers.push((name, value.into()));
        self
    }
}

type Script = dyn Fn(&str, usize) -> Reply + Send + Sync;

/// A server on a port of its own; it ends with the test's runtime.
pub struct Server {
    pub base: String,
    seen: Arc<Mutex<Vec<String>>>,
}

impl Server {
    /// `script` gets the request's head and its number, from 0.
    pub async fn start(script: impl Fn(&str, usize) -> Reply + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let base = format!("http://{}", listener.local_addr().unwrap());
        let seen = Arc::new(Mutex::new(Vec::new()));
        let (script, log): (Arc<Script>, _) = (Arc::new(script), seen.clone());
        tokio::spawn(async move {
            while let Ok((socket, _)) = listener.accept().await {
                tokio::spawn(answer(socket, script.clone(), log.clone()));
            }
        });
        Self { base, seen }
    }

    /// The heads of all requests so far.
    pub fn seen(&self) -> Vec<String> {
        self.seen.lock().unwrap().clone()
    }

    /// The paths of all requests so far.
    pub fn paths(&self) -> Vec<String> {
        let path = |head: &String| head.split_whitespace().nth(1).map(str::to_owned);
        self.seen().iter().filter_map(path).collect()
    }
}

async fn answer(mut socket: TcpStream, script: Arc<Script>, log: Arc<Mutex<Vec<String>>>) {
    let mut head = Vec::new();
    let mut buffer = [0_u8; 2048];
    while !head.windows(4).any(|w| w == b"\r\n\r\n") {
        match socket.read(&mut buffer).await {
            Ok(n) if n > 0 => head.extend_from_slice(buffer.get(..n).unwrap_or_default()),
            _ => return,
        }
    }
    let head = String::from_utf8_lossy(&head).into_owned();
    let number = {
        let mut log = log.lock().unwrap();
        log.push(head.clone());
        log.len() - 1
    };
    let reply = script(&head, number);
    let mut out = format!("HTTP/1.1 {} Own\r\nConnection: close\r\n", reply.status);
    for (name, value) in &reply.headers {
        out.push_str(&format!("{name}: {value}\r\n"));
    }
    if reply.status != 304 {
        out.push_str(&format!("Content-Length: {}\r\n", reply.body.len()));
    }
    out.push_str("\r\n");
    let _ = socket.write_all(out.as_bytes()).await;
    let end = reply.cut_at.unwrap_or(reply.body.len());
    let body = reply.body.get(..end).unwrap_or_default();
    match reply.drip {
        None => {
            let _ = socket.write_all(body).await;
        }
        Some(apart) => {
            let mut ticks = tokio::time::interval(apart);
            for byte in body {
                ticks.tick().await;
                if socket.write_all(&[*byte]).await.is_err() {
                    return;
                }
            }
        }
    }
    let _ = socket.shutdown().await;
}
