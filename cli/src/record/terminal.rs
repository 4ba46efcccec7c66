//! The real terminal: raw mode and back, whatever happens; keys, sizes, the bell.

use super::look::Look;
use super::post::{Post, Pressed};
use super::screen::draw;
use crate::failure::Failure;
use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::io::{self, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// How often the screen is looked after without a key: timers show seconds.
const BEAT: Duration = Duration::from_millis(200);
/// How often the store is read anew, for what others merged into it.
const READ_AGAIN: Duration = Duration::from_secs(10);

/// How long the screen may take to end in order when a signal tells it to.
const PATIENCE: Duration = Duration::from_secs(2);

/// The terminal as it was comes back when this is dropped; in a panic it is back already, before the panic speaks.
struct Borrowed(DefaultTerminal);

impl Drop for Borrowed {
    fn drop(&mut self) {
        if !std::thread::panicking() {
            // The terminal may be gone, and nobody could be told.
            let _ = ratatui::try_restore();
        }
    }
}

/// Shows the post on the terminal until the observer leaves or the process is told to end.
///
/// # Errors
/// A terminal that does not answer.
pub fn show(post: &mut Post<'_>, look: Look) -> Result<(), Failure> {
    let told_to_end = Arc::new(AtomicBool::new(false));
    let flag = told_to_end.clone();
    let on_signal = move || {
        flag.store(true, Ordering::SeqCst);
        // A terminal that is gone can hold the wait for a key for ever; what was pressed is on the disk.
        std::thread::sleep(PATIENCE);
        std::process::exit(0);
    };
    ctrlc::set_handler(on_signal)
        .map_err(|e| Failure::refused(format!("signals can't be listened to ({e})")))?;
    let mut screen = Borrowed(ratatui::try_init().map_err(no_terminal)?);
    let mut read_at = Instant::now();
    while !post.left() && !told_to_end.load(Ordering::SeqCst) {
        screen.0.draw(|frame| draw(frame, post, look)).map_err(no_terminal)?;
        if post.rings() {
            io::stdout().write_all(b"\x07").and_then(|()| io::stdout().flush()).map_err(no_terminal)?;
        }
        if event::poll(BEAT).map_err(no_terminal)? {
            match event::read().map_err(no_terminal)? {
                Event::Key(key) if is_interrupt(key) => break,
                Event::Key(key) if key.kind != KeyEventKind::Release => {
                    if let Some(pressed) = pressed(key) {
                        post.key(pressed);
                    }
                }
                _ => {}
            }
        } else if read_at.elapsed() >= READ_AGAIN {
            post.refresh();
            read_at = Instant::now();
        }
    }
    Ok(())
}

fn is_interrupt(key: KeyEvent) -> bool {
    key.modifiers.contains(KeyModifiers::CONTROL) && key.code == KeyCode::Char('c')
}

fn pressed(key: KeyEvent) -> Option<Pressed> {
    if key.modifiers.intersects(KeyModifiers::CONTROL | KeyModifiers::ALT) {
        return None;
    }
    Some(match key.code {
        KeyCode::Char(c) => Pressed::Char(c),
        KeyCode::Tab => Pressed::Char('\t'),
        KeyCode::Enter => Pressed::Enter,
        KeyCode::Esc => Pressed::Esc,
        KeyCode::Backspace | KeyCode::Delete => Pressed::Backspace,
        KeyCode::Up => Pressed::Up,
        KeyCode::Down => Pressed::Down,
        _ => return None,
    })
}

fn no_terminal(error: io::Error) -> Failure {
    Failure::refused(format!("the terminal does not answer ({error}); what was pressed is kept"))
}
