//! A table for the terminal: columns as wide as their cells, no lines, the last column broken at words so that nothing runs past the edge.

use crate::ui::{HEADING, styled};
use anstyle::Style;
use unicode_width::UnicodeWidthStr;

/// Rows under a header.
#[derive(Clone, Debug, Default)]
pub struct Table {
    header: Vec<&'static str>,
    right: Vec<usize>,
    rows: Vec<(Option<Style>, Vec<String>)>,
}

impl Table {
    /// A table with these columns.
    #[must_use]
    pub fn new<const N: usize>(header: [&'static str; N]) -> Table {
        Table { header: header.to_vec(), ..Table::default() }
    }

    /// Puts these columns (from 0) to the right, as numbers stand.
    #[must_use]
    pub fn right<const N: usize>(mut self, columns: [usize; N]) -> Table {
        self.right = columns.to_vec();
        self
    }

    /// Adds a row.
    pub fn row<const N: usize>(&mut self, cells: [String; N]) {
        self.rows.push((None, cells.to_vec()));
    }

    /// Adds a row in a style.
    pub fn styled_row<const N: usize>(&mut self, style: Style, cells: [String; N]) {
        self.rows.push((Some(style), cells.to_vec()));
    }

    /// Has no rows.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table as text of at most `columns` columns where that is possible. Columns that are empty all the way down are left out.
    #[must_use]
    pub fn draw(&self, columns: usize) -> String {
        let used: Vec<usize> = (0..self.header.len())
            .filter(|c| self.rows.iter().any(|(_, row)| row.get(*c).is_some_and(|t| !t.is_empty())))
            .collect();
        let Some(last) = used.last().copied() else { return String::new() };
        let cell = |row: &[String], c: usize| row.get(c).cloned().unwrap_or_default();
        let width = |c: usize| {
            let cells = self.rows.iter().map(|(_, row)| cell(row, c).width());
            cells.chain([self.header[c].width()]).max().unwrap_or(0)
        };
        let widths: Vec<usize> = used.iter().map(|c| width(*c)).collect();
        let before: usize = widths[..widths.len() - 1].iter().map(|w| w + 2).sum();
        let room = columns.saturating_sub(before).max(20);
        let line = |cells: &dyn Fn(usize) -> String, last_text: &str| {
            let mut line = String::new();
            for (c, width) in used.iter().zip(&widths) {
                let text = if *c == last { last_text.to_owned() } else { cells(*c) };
                let gap = " ".repeat(width.saturating_sub(text.width()));
                if self.right.contains(c) {
                    line.push_str(&format!("{gap}{text}  "))
                } else {
                    line.push_str(&format!("{text}{gap}  "))
                }
            }
            line.trim_end().to_owned()
        };
        let mut text = String::new();
        if self.header.iter().any(|h| !h.is_empty()) {
            text.push_str(&styled(HEADING, line(&|c| self.header[c].to_owned(), self.header[last])));
            text.push('\n');
        }
        for (style, row) in &self.rows {
            let parts = textwrap::wrap(row.get(last).map_or("", String::as_str), room);
            for (i, part) in parts.iter().enumerate() {
                let drawn = line(&|c| if i == 0 { cell(row, c) } else { String::new() }, part);
                text.push_str(&style.map_or_else(|| drawn.clone(), |s| styled(s, &drawn)));
                text.push('\n');
            }
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_under_each_other_and_the_last_one_is_broken() {
        let mut table = Table::new(["n", "area", "gone", "note"]).right([0]);
        table.row([
            "1".into(),
            "Firnkar".into(),
            String::new(),
            "a note that is longer than the edge".into(),
        ]);
        table.row(["12".into(), "Öd".into(), String::new(), "x".into()]);
        let text = anstream::adapter::strip_str(&table.draw(34)).to_string();
        assert_eq!(
            text,
            " n  area     note\n 1  Firnkar  a note that is longer\n             than the edge\n12  Öd       x\n"
        );
    }
}
