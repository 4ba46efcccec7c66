//! A histogram in the terminal: one line a bin, a bar of blocks to the eighth of a character.

/// Draws bins: `edges` are one more than `counts`. The longest bar takes what the labels leave of `columns`.
#[must_use]
pub fn draw(edges: &[f64], counts: &[usize], columns: usize) -> String {
    let label = |i: usize| {
        let end = if i + 1 == counts.len() { "" } else { "<" };
        (super::number(edges[i]), format!("{end}{}", super::number(edges[i + 1])))
    };
    if edges.len() != counts.len() + 1 {
        return String::new();
    }
    let most = counts.iter().copied().max().unwrap_or(0).max(1);
    let labels: Vec<(String, String)> = (0..counts.len()).map(label).collect();
    let from = labels.iter().map(|(f, _)| f.len()).max().unwrap_or(0);
    let to = labels.iter().map(|(_, t)| t.len()).max().unwrap_or(0);
    let n = most.to_string().len();
    let room = columns.saturating_sub(from + to + n + 9).clamp(10, 60);
    let mut text = String::new();
    for ((low, high), count) in labels.iter().zip(counts) {
        let bar = bar(*count as f64 / most as f64, room);
        text.push_str(&format!("  {low:>from$} to {high:>to$}  {count:>n$} {bar}\n"));
    }
    text
}

/// A bar of `share` (0 to 1) of `room` characters.
#[must_use]
pub fn bar(share: f64, room: usize) -> String {
    const EIGHTHS: [&str; 8] = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"];
    let eighths = (share.clamp(0.0, 1.0) * room as f64 * 8.0).round() as usize;
    format!("{}{}", "█".repeat(eighths / 8), EIGHTHS[eighths % 8])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_are_as_long_as_their_share() {
        assert_eq!(bar(0.5, 10), "█████");
        assert_eq!(bar(0.0, 10), "");
        assert_eq!(bar(0.0625, 10), "▋");
        let text = draw(&[50.0, 100.0, 150.0], &[1, 4], 40);
        let whole = "█".repeat(23);
        assert_eq!(text, format!("   50 to <100  1 █████▊\n  100 to  150  4 {whole}\n"));
    }
}
