//! The frame of a figure: its heading, the drawing, and the same figures as a table for those who can't see it or want the numbers.

use super::words;
use maud::{Markup, html};

/// A figure.
pub(super) struct Figure {
    /// What it shows, in a line.
    pub title: String,
    /// Remarks below: n, what the signs mean, bounds.
    pub remarks: Vec<String>,
    /// The drawing.
    pub drawing: Markup,
    /// The table.
    pub table: Markup,
}

impl Figure {
    /// The figure with its table folded below it.
    pub(super) fn show(&self) -> Markup {
        self.above(&html! { details { summary { (words::AS_TABLE) } (self.table) } })
    }

    /// The figure with its table in sight, on paper too.
    pub(super) fn with_open_table(&self) -> Markup {
        self.above(&self.table)
    }

    fn above(&self, table: &Markup) -> Markup {
        html! {
            figure {
                figcaption { (self.title) }
                div.scroll tabindex="0" role="region" aria-label=(words::drawing(&self.title)) { (self.drawing) }
                @for remark in self.remarks.iter().filter(|r| !r.is_empty()) { p.remark { (remark) } }
                (table)
            }
        }
    }
}
