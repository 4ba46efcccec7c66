//! The screen with the list of drills.

use super::pane::Pane;
use super::post::Post;
use super::screen::{Page, cut};
use firnbook_core::logbook::DrillOffer;
use ratatui::text::Line;

impl Page {
    /// The head and the middle of the list of drills.
    pub(super) fn drill_list(&self, post: &Post<'_>) -> (Vec<Line<'static>>, Vec<Line<'static>>) {
        let clock = post.now().datetime().format("%H:%M:%S");
        let head = vec![
            self.bar(" DRILLS", &format!("{}  {clock} ", post.me), self.look.bar_plain()),
            Line::raw(""),
        ];
        let mut lines = Vec::new();
        // The marked one stays in sight however many there are.
        let rows = usize::from(self.area.height).saturating_sub(10).max(3);
        let from = (post.drills.marked + 1).saturating_sub(rows);
        for (n, offer) in post.drills.offers.iter().enumerate().skip(from).take(rows) {
            let digit = if n < 9 { (n + 1).to_string() } else { " ".to_owned() };
            let row = cut(&format!(" {digit}  {}", told(offer)), usize::from(self.area.width));
            lines.push(if n == post.drills.marked {
                self.bar(&row, "", self.look.bar_wait())
            } else {
                Line::styled(row, self.look.strong())
            });
        }
        if post.drills.offers.is_empty() {
            let none =
                " No drill is set up in this day yet. + sets one up: label, form, team, slope, targets.";
            lines.extend(self.wrapped(none, 4).into_iter().map(Line::raw));
        }
        lines.push(Line::raw(""));
        match &post.pane {
            Pane::List(list) => lines.extend(self.list(list)),
            Pane::Line(line) => lines.extend(self.line(line)),
            Pane::Leaving => {
                lines.push(self.bar(" leave? q again; any other key stays", "", self.look.bar_wait()))
            }
            Pane::Overview | Pane::Depth(_) | Pane::Help => {}
        }
        (head, lines)
    }
}

fn told(offer: &DrillOffer) -> String {
    let state = match (offer.ended, offer.started) {
        (true, _) => "ended",
        (false, true) => "running",
        (false, false) => "not started",
    };
    let mut parts = vec![format!("drill {}", offer.label)];
    parts.extend(offer.team.clone());
    parts.push(state.to_owned());
    parts.push(offer.targets.join(" "));
    parts.join("  ")
}
