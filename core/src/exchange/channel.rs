//! A session behind a lock: Noise around it, again without input or output of its own. A stranger who lacks the crew's key gets no answer; one
//! who has it must still be of the roster.
//!
//! On the wire: a length (u16, big-endian) and a Noise message, again and again. First the three messages of the handshake, without content,
//! then the frames of the session as a stream of bytes in messages of at most 65,519 bytes of content.

use super::session::{Peer, Progress, Report, Role, Session, SessionError};
use super::shelf::{Crew, Host};
use crate::crew::CrewKey;
use snow::{Builder, HandshakeState, TransportState};
use std::sync::Arc;

/// The Noise protocol.
pub const NOISE: &str = "Noise_XXpsk0_25519_ChaChaPoly_BLAKE2s";
/// Binds the handshake to this program; the version of the protocol stands in the first frame, so that another one can be told.
pub const PROLOGUE: &[u8] = b"firnbook-live";
/// The largest message of Noise less its tag.
pub const CONTENT_BYTES: usize = 65_519;

const TAG_BYTES: usize = 16;
const LENGTH_BYTES: usize = 2;
/// The longest message of the handshake: two keys and two tags.
const HANDSHAKE_BYTES: usize = 96;

/// A session with Noise around it.
pub struct Channel {
    host: Arc<Host>,
    role: Role,
    crew: Crew,
    state: State,
    buffer: Vec<u8>,
    outgoing: Vec<u8>,
    failed: Option<ChannelError>,
}

enum State {
    /// The keys that are tried on the first message.
    Called(Vec<CrewKey>),
    Shaking(Box<HandshakeState>, CrewKey),
    Open(Box<TransportState>, Box<Session>),
    Broken,
}

/// Why a channel did not come about, or ended.
#[derive(Debug, thiserror::Error)]
pub enum ChannelError {
    /// This device is in no crew.
    #[error(
        "this device is in no crew, and only a crew exchanges live; begin one with `firnbook crew new`, or join one with `firnbook crew join`"
    )]
    NoCrew,
    /// The other side could not prove that it has the crew's key.
    #[error("the other side does not have this crew's key")]
    Stranger,
    /// What came can't be opened: altered on the way, or no Noise message.
    #[error("what came over the connection was altered on the way; do it again")]
    Altered,
    /// The session's own.
    #[error(transparent)]
    Session(#[from] SessionError),
}

impl From<crate::store::StoreError> for ChannelError {
    fn from(error: crate::store::StoreError) -> ChannelError {
        ChannelError::Session(error.into())
    }
}

impl Channel {
    /// A channel to someone who calls, or is called. The caller uses the crew's key of this place from the latest: 0 is the one that holds now.
    ///
    /// # Errors
    /// [`ChannelError::NoCrew`], or keys that can't be read.
    pub fn new(host: &Arc<Host>, role: Role, key_from_latest: usize) -> Result<Channel, ChannelError> {
        let crew = host.crew()?.ok_or(ChannelError::NoCrew)?;
        let mut keys: Vec<CrewKey> = crew.ring.crew_keys.iter().rev().cloned().collect();
        let mut channel = Channel {
            host: host.clone(),
            role,
            crew,
            state: State::Broken,
            buffer: Vec::new(),
            outgoing: Vec::new(),
            failed: None,
        };
        if role == Role::Base {
            channel.state = State::Called(keys);
            return Ok(channel);
        }
        if key_from_latest >= keys.len() {
            return Err(ChannelError::Stranger);
        }
        let key = keys.swap_remove(key_from_latest);
        let mut shaking = channel.shaking(&key)?;
        channel.write(&mut shaking)?;
        channel.state = State::Shaking(Box::new(shaking), key);
        Ok(channel)
    }

    fn shaking(&self, key: &CrewKey) -> Result<HandshakeState, ChannelError> {
        let parameters = NOISE.parse().map_err(|_| ChannelError::Altered)?;
        let build = || {
            let builder = Builder::new(parameters)
                .prologue(PROLOGUE)?
                .local_private_key(self.crew.ring.keys.exchange_secret())?
                .psk(0, &key.0)?;
            if self.role == Role::Base { builder.build_responder() } else { builder.build_initiator() }
        };
        build().map_err(|_| ChannelError::Altered)
    }

    fn write(&mut self, shaking: &mut HandshakeState) -> Result<(), ChannelError> {
        let mut message = [0; HANDSHAKE_BYTES];
        let n = shaking.write_message(&[], &mut message).map_err(|_| ChannelError::Altered)?;
        self.send(&message[..n]);
        Ok(())
    }

    fn send(&mut self, message: &[u8]) {
        // No message of Noise is longer than its length field can say.
        self.outgoing.extend_from_slice(&(message.len() as u16).to_be_bytes());
        self.outgoing.extend_from_slice(message);
    }

    /// Takes bytes that came, in any pieces.
    pub fn incoming(&mut self, bytes: &[u8]) {
        if self.failed.is_some() {
            return;
        }
        self.buffer.extend_from_slice(bytes);
        let mut from = 0;
        while let Some((length, rest)) = self.buffer[from..].split_first_chunk::<LENGTH_BYTES>() {
            let length = usize::from(u16::from_be_bytes(*length));
            if !matches!(self.state, State::Open(..)) && length > HANDSHAKE_BYTES {
                self.failed = Some(ChannelError::Stranger);
                return;
            }
            let Some(message) = rest.get(..length) else { break };
            let message = message.to_vec();
            from += LENGTH_BYTES + length;
            if let Err(error) = self.take(&message) {
                self.failed = Some(error);
                return;
            }
        }
        self.buffer.drain(..from);
    }

    fn take(&mut self, message: &[u8]) -> Result<(), ChannelError> {
        let mut content = vec![0; message.len()];
        if let State::Open(transport, session) = &mut self.state {
            let n = transport.read_message(message, &mut content).map_err(|_| ChannelError::Altered)?;
            session.incoming(&content[..n]);
            return Ok(());
        }
        match std::mem::replace(&mut self.state, State::Broken) {
            State::Called(keys) => {
                for key in keys {
                    let mut shaking = self.shaking(&key)?;
                    if shaking.read_message(message, &mut content).is_ok() {
                        self.write(&mut shaking)?;
                        self.state = State::Shaking(Box::new(shaking), key);
                        return Ok(());
                    }
                }
                Err(ChannelError::Stranger)
            }
            State::Shaking(mut shaking, key) => {
                shaking.read_message(message, &mut content).map_err(|_| ChannelError::Stranger)?;
                if !shaking.is_handshake_finished() {
                    self.write(&mut shaking)?;
                }
                self.open(*shaking, &key)
            }
            State::Open(..) | State::Broken => Err(ChannelError::Altered),
        }
    }

    fn open(&mut self, shaking: HandshakeState, key: &CrewKey) -> Result<(), ChannelError> {
        let exchange =
            shaking.get_remote_static().and_then(|s| s.try_into().ok()).ok_or(ChannelError::Stranger)?;
        let transport = shaking.into_transport_mode().map_err(|_| ChannelError::Altered)?;
        let peer = Peer::Key { exchange, crew_key: key.id() };
        let session = Session::new(&self.host, self.role, peer)?;
        self.state = State::Open(Box::new(transport), Box::new(session));
        Ok(())
    }

    /// The next bytes to send; `None` until more comes in.
    pub fn outgoing(&mut self) -> Option<Vec<u8>> {
        if let State::Open(transport, session) = &mut self.state
            && self.failed.is_none()
            && let Some(frame) = session.outgoing()
        {
            let mut message = vec![0; frame.len().min(CONTENT_BYTES) + TAG_BYTES];
            for content in frame.chunks(CONTENT_BYTES) {
                let Ok(n) = transport.write_message(content, &mut message) else {
                    self.failed = Some(ChannelError::Altered);
                    break;
                };
                self.outgoing.extend_from_slice(&(n as u16).to_be_bytes());
                self.outgoing.extend_from_slice(&message[..n]);
            }
        }
        (!self.outgoing.is_empty()).then(|| std::mem::take(&mut self.outgoing))
    }

    /// The handshake is over: the other side has the crew's key.
    #[must_use]
    pub fn is_open(&self) -> bool {
        matches!(self.state, State::Open(..))
    }

    /// Nothing more will come out or is expected.
    #[must_use]
    pub fn finished(&self) -> bool {
        let over = matches!(&self.state, State::Open(_, session) if session.finished());
        self.outgoing.is_empty() && (self.failed.is_some() || over)
    }

    /// Everything has gone over, as far as this side knows; see [`Session::exchanged`].
    #[must_use]
    pub fn exchanged(&self) -> bool {
        matches!(&self.state, State::Open(_, session) if self.failed.is_none() && session.exchanged())
    }

    /// How far the session is; `None` before there is one.
    #[must_use]
    pub fn progress(&self) -> Option<&Progress> {
        match &self.state {
            State::Open(_, session) => Some(session.progress()),
            _ => None,
        }
    }

    /// What was done so far, of a session that ended otherwise too.
    #[must_use]
    pub fn so_far(&self) -> Option<&Report> {
        match &self.state {
            State::Open(_, session) => Some(session.so_far()),
            _ => None,
        }
    }

    /// What it did, or why it did not.
    ///
    /// # Errors
    /// [`ChannelError`]; a connection that ended during the handshake was one with a stranger.
    pub fn outcome(self) -> Result<Report, ChannelError> {
        match (self.failed, self.state) {
            (Some(error), _) => Err(error),
            (None, State::Open(_, session)) => Ok(session.outcome()?),
            (None, _) => Err(ChannelError::Stranger),
        }
    }
}
