//! How emphasis looks, with colour and without: what must be seen is bold or reversed in either, colour only adds.

use ratatui::style::{Color, Modifier, Style};

/// With colour or without.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// Colours may be used.
    pub colour: bool,
}

impl Look {
    fn bar(self, background: Color, text: Color) -> Style {
        if self.colour {
            Style::new().bg(background).fg(text).add_modifier(Modifier::BOLD)
        } else {
            Style::new().add_modifier(Modifier::BOLD | Modifier::REVERSED)
        }
    }

    /// The line at the head, and what is chosen.
    #[must_use]
    pub fn bar_plain(self) -> Style {
        self.bar(Color::White, Color::Black)
    }

    /// What is to be done next.
    #[must_use]
    pub fn bar_next(self) -> Style {
        self.bar(Color::Green, Color::Black)
    }

    /// Something is overdue or went wrong.
    #[must_use]
    pub fn bar_alarm(self) -> Style {
        self.bar(Color::Red, Color::White)
    }

    /// Something will be due soon, or stands still.
    #[must_use]
    pub fn bar_wait(self) -> Style {
        self.bar(Color::Yellow, Color::Black)
    }

    /// What counts.
    #[must_use]
    pub fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// The names of things.
    #[must_use]
    pub fn name(self) -> Style {
        if self.colour { Style::new().fg(Color::Cyan) } else { Style::new() }
    }
}
