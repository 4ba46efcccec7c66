//! A grid of characters to draw on, row 0 at the top. What is drawn outside of it is not there.

/// Rows of characters.
#[derive(Clone, Debug)]
pub struct Canvas {
    rows: Vec<Vec<char>>,
}

impl Canvas {
    /// An empty canvas.
    #[must_use]
    pub fn new(columns: usize, rows: usize) -> Canvas {
        Canvas { rows: vec![vec![' '; columns]; rows] }
    }

    /// Puts a character.
    pub fn put(&mut self, column: usize, row: usize, mark: char) {
        if let Some(cell) = self.rows.get_mut(row).and_then(|r| r.get_mut(column)) {
            *cell = mark;
        }
    }

    /// Its rows as text, without blanks at their ends.
    pub fn lines(&self) -> impl Iterator<Item = String> {
        self.rows.iter().map(|row| row.iter().collect::<String>().trim_end().to_owned())
    }
}
