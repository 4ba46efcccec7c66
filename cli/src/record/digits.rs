//! Large digits out of block characters, in the largest of three sizes that fits.

/// Three by five dots a digit, a row a number, the leftmost dot the highest bit.
const DOTS: [[u8; 5]; 10] = [
    [7, 5, 5, 5, 7],
    [2, 6, 2, 2, 7],
    [7, 1, 7, 4, 7],
    [7, 1, 7, 1, 7],
    [5, 5, 7, 1, 1],
    [7, 4, 7, 1, 7],
    [7, 4, 7, 5, 7],
    [7, 1, 1, 2, 2],
    [7, 5, 7, 5, 7],
    [7, 5, 7, 1, 7],
];
const COLON: [u8; 5] = [0, 1, 0, 1, 0];
const DASH: [u8; 5] = [0, 0, 7, 0, 0];

/// A text of digits, colons and dashes as rows of block characters, at most `columns` wide and `rows` high: two columns and one row a dot, else
/// one column and half a row, else the text itself.
#[must_use]
pub fn large(text: &str, columns: u16, rows: u16) -> Vec<String> {
    let dots: Vec<String> = (0..5).map(|row| dots(text, row)).collect();
    let width = dots[0].chars().count();
    let fits = |width: usize, height: u16| width <= usize::from(columns) && height <= rows;
    if fits(width * 2, 5) {
        let wide = |row: &String| row.chars().map(|c| if c == '#' { "██" } else { "  " }).collect();
        dots.iter().map(wide).collect()
    } else if fits(width, 3) {
        let half = |pair: &[String]| {
            let below = pair.get(1).map_or_else(|| " ".repeat(width), Clone::clone);
            pair[0].chars().zip(below.chars()).map(block).collect()
        };
        dots.chunks(2).map(half).collect()
    } else {
        vec![text.to_owned()]
    }
}

fn block((above, below): (char, char)) -> char {
    match (above == '#', below == '#') {
        (true, true) => '█',
        (true, false) => '▀',
        (false, true) => '▄',
        (false, false) => ' ',
    }
}

/// One row of dots of a text.
fn dots(text: &str, row: usize) -> String {
    let glyph = |c: char| match c {
        ':' => (1, COLON[row]),
        '-' => (3, DASH[row]),
        c => (3, c.to_digit(10).map_or(0, |d| DOTS[d as usize][row])),
    };
    let drawn = |(width, bits): (u32, u8)| -> String {
        (0..width).rev().map(|bit| if bits >> bit & 1 == 1 { '#' } else { ' ' }).collect()
    };
    text.chars().map(|c| drawn(glyph(c))).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_take_the_largest_size_that_fits() {
        let two = large("1:2", 40, 5);
        let expected = [
            "  ██        ██████",
            "████    ██      ██",
            "  ██        ██████",
            "  ██    ██  ██    ",
            "██████      ██████",
        ];
        assert_eq!(two, expected);
        assert_eq!(large("1:2", 10, 5), ["▄█  ▄ ▀▀█", " █  ▄ █▀▀", "▀▀▀   ▀▀▀"].map(|s| s.to_owned()));
        assert_eq!(large("1:2", 8, 5), ["1:2"]);
        assert_eq!(large("12:34", 40, 5)[0].chars().count(), 34);
        assert_eq!(large("1:12:34", 40, 5)[0].chars().count(), 23);
    }
}
