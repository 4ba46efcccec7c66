//! The data dictionary: every kind and field in words, as one Markdown text, read off the field tables.

use firnbook_core::entry::{Field, Kind, LabelClass, Shape};
use std::fmt::Write;

/// The dictionary of `kinds`: the common fields once, then each kind with its own fields.
#[must_use]
pub fn dictionary(kinds: &[Kind]) -> String {
    let mut text = String::from(
        "# Data dictionary\n\nEvery kind of entry and every field. A number is kept in the unit shown. A field marked *yes* under \"needed\" \
         must be there or the entry is refused; an absent field is left out, never null.\n\nA text holds at most \
         10,000 characters, a label 200, a list 200 labels, an outline 1,000 corners, a track 10,000 points, an entry 1 MiB of JSON. \
         Labels are compared in Unicode's form NFC, without spaces at the ends, with one space between words, in Unicode lower case \
         with the final sigma.\n",
    );
    if let Some(first) = kinds.first() {
        text.push_str("\n## Fields of every kind\n\n");
        text.push_str("`kind` is the word at the head of each chapter below.\n");
        table(&mut text, first.fields.iter().filter(|f| f.common));
    }
    for kind in kinds {
        write_to(&mut text, format_args!("\n## `{}`\n\n{}\n", kind.name, kind.text));
        let needed: Vec<_> =
            kind.fields.iter().filter(|f| f.common && f.required).map(|f| format!("`{}`", f.name)).collect();
        write_to(&mut text, format_args!("\nOf the common fields it needs {}.\n", needed.join(", ")));
        table(&mut text, kind.own_fields());
    }
    text
}

fn table<'a>(text: &mut String, fields: impl Iterator<Item = &'a Field>) {
    let mut fields = fields.peekable();
    if fields.peek().is_none() {
        return;
    }
    text.push_str(
        "\n| field | type | unit | range | needed | meaning |\n| --- | --- | --- | --- | --- | --- |\n",
    );
    for field in fields {
        let unit = field.unit.map_or("", |u| u.symbol());
        let range = field.range_text().unwrap_or_default();
        let needed = if field.required { "yes" } else { "" };
        write_to(
            text,
            format_args!(
                "| `{}` | {} | {unit} | {range} | {needed} | {} |\n",
                field.name,
                sort(&field.shape),
                meaning(field)
            ),
        );
    }
}

fn sort(shape: &Shape) -> String {
    let class = |c: &LabelClass| c.word();
    match shape {
        Shape::Label(c) => format!("label of a {}", class(c)),
        Shape::Labels(c) => format!("labels of a {}", class(c)),
        other => other.word().to_owned(),
    }
}

fn meaning(field: &Field) -> String {
    let Shape::Choice(words) = &field.shape else { return field.text.clone() };
    let words = words
        .iter()
        .map(|(word, text)| if text.is_empty() { format!("`{word}`") } else { format!("`{word}` {text}") });
    format!("{}: {}", field.text, words.collect::<Vec<_>>().join("; "))
}

fn write_to(text: &mut String, what: std::fmt::Arguments<'_>) {
    // Writing into a String can't fail.
    let _ = text.write_fmt(what);
}
