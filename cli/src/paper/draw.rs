//! Forms as a printed page: one sheet a page, lines high enough for a gloved hand and a pencil, the headings of [`headings`](super::headings).

use super::headings::{Column, Form, LINE, SHEET, TOP};
use super::sheets::{Ground, PaperSheet};
use super::words;
use crate::page::{Sort, document};
use firnbook_core::entry::{Shape, kind};
use maud::{Markup, html};

/// The size of paper.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Size {
    /// one sheet on A5, crosswise
    #[default]
    A5,
    /// one sheet on A4, crosswise, with larger lines
    A4,
}

/// Form words that are too many to print below a sheet are left to the memory of who writes.
const MOST_WORDS: usize = 14;

/// The printout.
#[must_use]
pub fn page(ground: &Ground, sheets: &[PaperSheet], size: Size) -> String {
    let style = match size {
        Size::A5 => concat!(include_str!("forms.css"), "@page { size: A5 landscape; margin: 6mm; }\n"),
        Size::A4 => concat!(include_str!("forms.css"), include_str!("forms-a4.css")),
    };
    let body = html! {
        main {
            h1.unseen { (words::title(&ground.day)) }
            @for sheet in sheets { (draw(ground, sheet)) }
        }
    };
    document(&words::title(&ground.day), &Sort { style, script: false }, &body)
}

fn draw(ground: &Ground, sheet: &PaperSheet) -> Markup {
    let name = words::sheet(&sheet.letter, sheet.form.word);
    let filled = |column: &Column| match column.field {
        "by" => sheet.observer.clone(),
        "drill" => sheet.drill.clone(),
        _ => String::new(),
    };
    let labels_of_its_own = |column: &Column| sheet.form.columns.iter().any(|c| c.heading == column.heading);
    let total: u32 = sheet.form.columns.iter().map(|c| u32::from(c.width)).sum();
    html! {
        section.paper aria-label=(name) {
            div.head {
                div.letter { small { (SHEET) } b { (sheet.letter) } }
                div.what { h2 { (sheet.form.word) } p { (ground.day) } }
                @for column in TOP.iter().filter(|c| !labels_of_its_own(c)) {
                    div.blank { small { (column.heading) } b { (filled(column)) } }
                }
            }
            table {
                thead {
                    tr {
                        th.line scope="col" { (LINE) }
                        @for column in sheet.form.columns {
                            th scope="col" class=(format!("w{}", 2 * (50 * u32::from(column.width)).div_ceil(total))) { (column.heading) }
                        }
                    }
                }
                tbody {
                    @for (i, line) in sheet.lines.iter().enumerate() {
                        tr {
                            th.line scope="row" { (i + 1) }
                            @for column in sheet.form.columns {
                                @let said = line.iter().find(|(field, _)| *field == column.field);
                                td { @if let Some((_, said)) = said { (said) } }
                            }
                        }
                    }
                }
            }
            (below(sheet))
        }
    }
}

/// The words to choose from, and how to write.
fn below(sheet: &PaperSheet) -> Markup {
    let mut lists: Vec<(&str, Vec<String>)> =
        sheet.form.columns.iter().filter_map(|c| Some((c.heading, choices(sheet.form, c)?))).collect();
    if sheet.form.columns.iter().any(|c| c.heading == "who") && !sheet.people.is_empty() {
        lists.push(("who", sheet.people.clone()));
    }
    html! {
        div.below {
            @for (heading, list) in &lists { p { b { (heading) } ": " (list.join(", ")) } }
            p { (words::HOW_TO_WRITE) }
        }
    }
}

fn choices(form: &Form, column: &Column) -> Option<Vec<String>> {
    match &kind(form.kind)?.field(column.field)?.shape {
        Shape::Choice(words) if words.len() <= MOST_WORDS => {
            Some(words.iter().map(|(word, _)| word.replace('_', " ")).collect())
        }
        Shape::Flag => Some(vec!["yes".to_owned(), "no".to_owned()]),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::paper::headings::FORMS;
    use crate::paper::sheets::sheets;

    #[test]
    fn every_sheet_shows_its_letter_its_form_and_its_headings() {
        let ground = Ground::default();
        let printed = sheets(&ground, &[]);
        let html = page(&ground, &printed, Size::A5);
        for sheet in &printed {
            assert!(html.contains(&format!("<b>{}</b>", sheet.letter)));
            assert!(html.contains(&format!("<h2>{}</h2>", sheet.form.word)));
        }
        for form in FORMS.iter().filter(|f| printed.iter().any(|s| s.form.word == f.word)) {
            for column in form.columns {
                assert!(html.contains(&format!(">{}</th>", column.heading)), "{}", column.heading);
            }
        }
    }

    #[test]
    fn every_width_has_its_rule() {
        let ground = Ground::default();
        let html = page(&ground, &sheets(&ground, &[]), Size::A5);
        for part in html.split("class=\"w").skip(1) {
            let width = part.split('"').next().unwrap();
            assert!(include_str!("forms.css").contains(&format!(".w{width} {{")), "w{width}");
        }
    }
}
