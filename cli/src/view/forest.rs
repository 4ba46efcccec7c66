//! A forest in the terminal: one line a group, its figure as a point with its interval on an axis that all groups share.

use unicode_width::UnicodeWidthStr;

/// One line of a forest.
#[derive(Clone, Debug)]
pub struct Line {
    /// What it is called.
    pub name: String,
    /// How many values the figure stands on.
    pub n: usize,
    /// The figure; `None` where there is none.
    pub figure: Option<f64>,
    /// The ends of its interval; one that does not exist is open.
    pub ends: [Option<f64>; 2],
}

/// Draws lines on one axis; `show` spells a figure. Empty where no line has a figure.
#[must_use]
pub fn draw(lines: &[Line], show: impl Fn(f64) -> String, columns: usize) -> String {
    let values = || lines.iter().flat_map(|l| l.ends.into_iter().chain([l.figure])).flatten();
    let low = values().fold(f64::INFINITY, f64::min);
    let high = values().fold(f64::NEG_INFINITY, f64::max);
    if low > high {
        return String::new();
    }
    let shown = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), &show);
    let told: Vec<String> = lines
        .iter()
        .map(|line| match line.ends {
            [None, None] => shown(line.figure),
            [from, to] => format!("{} ({} to {})", shown(line.figure), shown(from), shown(to)),
        })
        .collect();
    let widest = |widths: &mut dyn Iterator<Item = usize>| widths.max().unwrap_or(0);
    let name = widest(&mut lines.iter().map(|l| l.name.width()));
    let n = widest(&mut lines.iter().map(|l| l.n.to_string().len()));
    let room =
        columns.saturating_sub(name + n + widest(&mut told.iter().map(|t| t.width())) + 12).clamp(10, 50);
    let at = |value: f64| {
        let share = if high > low { (value - low) / (high - low) } else { 0.5 };
        (share * (room - 1) as f64).round() as usize
    };
    let mut text = String::new();
    for (line, told) in lines.iter().zip(told) {
        let gap = " ".repeat(name - line.name.width());
        let axis: String = axis(line, room, at).into_iter().collect();
        text.push_str(format!("  {}{gap}  n {:>n$}  {axis}  {told}", line.name, line.n).trim_end());
        text.push('\n');
    }
    text
}

fn axis(line: &Line, room: usize, at: impl Fn(f64) -> usize) -> Vec<char> {
    let mut axis = vec![' '; room];
    let Some(figure) = line.figure.map(&at) else { return axis };
    if line.ends != [None, None] {
        let [from, to] = line.ends.map(|end| end.map(&at));
        let (left, right) = (from.unwrap_or(0), to.unwrap_or(room - 1));
        axis[left..=right.max(left)].fill('─');
        axis[left] = if from.is_some() { '├' } else { '◂' };
        axis[right] = if to.is_some() { '┤' } else { '▸' };
    }
    axis[figure] = '●';
    axis
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_share_one_axis_and_open_ends_are_shown() {
        let line = |name: &str, n, figure, ends| Line { name: name.to_owned(), n, figure, ends };
        let lines = [
            line("Red", 12, Some(50.0), [Some(0.0), Some(60.0)]),
            line("Blue", 3, Some(80.0), [Some(60.0), None]),
            line("Öd", 1, Some(100.0), [None, None]),
            line("none", 0, None, [None, None]),
        ];
        let text = draw(&lines, super::super::number, 45);
        // 15 characters of axis from 0 to 100: 50 stands on the 8th, 60 on the 9th, 80 on the 12th.
        let wanted = [
            "  Red   n 12  ├──────●┤        50 (0 to 60)",
            "  Blue  n  3          ├──●──▸  80 (60 to –)",
            "  Öd    n  1                ●  100",
            "  none  n  0                   –",
        ];
        assert_eq!(text.lines().collect::<Vec<_>>(), wanted);
        assert_eq!(draw(&lines[3..], super::super::number, 45), "");
    }
}
