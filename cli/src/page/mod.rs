//! Pages: one HTML file each, that opens from a stick without a network, works without script and prints. Here is the sheet that every page
//! is written on; what stands on them is in the rooms below, and every sentence of theirs in `words`.

mod day;
mod draw;
mod drill;
mod figure;
mod longest;
pub mod measure;
mod season;
mod sheet;
mod trend;
pub(crate) mod words;

pub use day::{Day, page as day_page};
pub use measure::Units;
pub use season::{Seasonal, page as season_page};
pub use sheet::page as sheet_page;
pub use trend::page as person_page;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use sha2::{Digest, Sha256};

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// What a page is besides its text.
pub(crate) struct Sort {
    /// Rules of this sort of page, after the common ones.
    pub style: &'static str,
    /// The script that may add to it.
    pub script: bool,
}

/// A page that is read on a screen.
pub(crate) const SCREEN: Sort = Sort { style: "", script: true };

/// A whole document. What a writer put into an entry can't act in it: `body` is escaped where it was put together, and the policy in the
/// head lets nothing run or load but the style and the script of this program.
pub(crate) fn document(title: &str, sort: &Sort, body: &Markup) -> String {
    let style = format!("{STYLE}{}", sort.style);
    let script = if sort.script { SCRIPT } else { "" };
    let may_run =
        if sort.script { format!("'sha256-{}'", base64_sha256(script)) } else { "'none'".to_owned() };
    let policy = format!(
        "default-src 'none'; style-src 'sha256-{}'; script-src {may_run}; base-uri 'none'; form-action 'none'",
        base64_sha256(&style)
    );
    let whole = html! {
        (DOCTYPE)
        html lang=(words::LANGUAGE) {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                style { (PreEscaped(&style)) }
            }
            body {
                (body)
                @if sort.script { script { (PreEscaped(script)) } }
            }
        }
    };
    // Control characters are no part of HTML; one that stands in an entry is shown as the sign for what can't be shown.
    let shown = |c: char| if c.is_control() && c != '\n' { char::REPLACEMENT_CHARACTER } else { c };
    whole.into_string().chars().map(shown).collect()
}

/// SHA-256 in base 64, as a policy names a style or script.
fn base64_sha256(text: &str) -> String {
    STANDARD.encode(Sha256::digest(text))
}

/// A table in a frame of its own that can be scrolled where it is wider than the screen. `name` is what a screen reader calls it; the first
/// cell of a row names the row.
pub(crate) fn table(name: &str, heads: &[&str], rows: &[Vec<String>]) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label=(name) {
            table {
                thead { tr { @for head in heads { th scope="col" { (head) } } } }
                tbody {
                    @for row in rows {
                        tr {
                            @for (i, cell) in row.iter().enumerate() {
                                @if i == 0 { th scope="row" { (cell) } } @else { td { (cell) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The last lines of every page: what could not be used, what it is for and not for, and how it was made.
pub(crate) fn foot(
    left_out: &[firnbook_core::insight::left_out::LeftOut],
    assumed_twins: usize,
    cautions: &[String],
    made: &firnbook_core::insight::made::Made,
) -> Markup {
    html! {
        footer {
            h2 { (words::FOOT) }
            @for caution in cautions { p.caution { (caution) } }
            @if !left_out.is_empty() || assumed_twins > 0 {
                ul {
                    @for line in left_out { li { (words::left_out(line.n, &line.reason)) } }
                    @if assumed_twins > 0 { li { (words::assumed_twins(assumed_twins)) } }
                }
            }
            p.made { (words::made(made)) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hash_as_a_policy_names_it() {
        // FIPS 180-2, appendix B.1: SHA-256 of "abc" is ba7816bf…f20015ad; its bytes in base 64 by RFC 4648.
        assert_eq!(base64_sha256("abc"), "ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=");
    }

    #[test]
    fn what_is_said_can_not_act() {
        let body =
            html! { p title=("\"><script>alert(1)</script>") { "<img src=x onerror=alert(1)>\u{0}\u{1b}" } };
        let page = document("</title><script>", &SCREEN, &body);
        assert_eq!(page.matches("<script>").count(), 1, "{page}");
        assert!(!page.contains("<img") && !page.contains('\u{0}') && !page.contains('\u{1b}'));
    }
}
