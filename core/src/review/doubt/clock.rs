//! Doubts about clocks that were never compared with the others of the day: what they timed stands only beside itself until someone helps.

use super::doubt;
use crate::day::{ClockName, Noted};
use crate::entry::{Body, EntryId};
use crate::review::ground::{Ground, listed};
use crate::review::item::Item;
use std::collections::BTreeMap;

/// One doubt a clock, at the first entry whose time should have been compared.
pub(super) fn doubts(ground: &Ground<'_>) -> Vec<Item> {
    let mut alone: BTreeMap<ClockName, Vec<EntryId>> = BTreeMap::new();
    for noted in ground.record.entries.iter().filter(|n| is_timed(n)) {
        let at = ground.clocks.at(noted);
        if let Some(clock) = at.only_with() {
            alone.entry(clock.clone()).or_default().push(noted.id);
        }
    }
    let item = |(clock, entries): (ClockName, Vec<EntryId>)| {
        let first = *entries.first()?;
        let ask = ground.writers(&entries);
        let times = if entries.len() == 1 { "1 time".to_owned() } else { format!("{} times", entries.len()) };
        let (whose, label) = match clock.clock.as_str() {
            "" => (format!("the clock of device {}", clock.device), clock.device.to_string()),
            number if number.bytes().all(|b| b.is_ascii_digit()) => {
                let moved = format!("the clock of device {} after it was moved ({number})", clock.device);
                (moved, format!("{}:{number}", clock.device))
            }
            watch => (format!("the clock \"{watch}\""), watch.to_owned()),
        };
        let says = format!(
            "{whose} was never compared with the others, so {times} of {} stand only beside one another. Press one mark together on it \
             and on a known one, or read it beside this one and write down what it shows, as the clock \"{label}\"",
            listed(&ask)
        );
        Some(Item { entries, ask, ..doubt(ground, first, "clock", says) })
    };
    alone.into_iter().filter_map(item).collect()
}

/// Whether the time of an entry is compared with others to the second.
fn is_timed(noted: &Noted) -> bool {
    let body = noted.counted().map(|e| &e.body);
    matches!(
        body,
        Some(Body::Moment(_) | Body::Strike(_) | Body::Rotation(_) | Body::ProbePass(_) | Body::Track(_))
    )
}

#[cfg(test)]
mod tests {
    use crate::clock::TimeLine;
    use crate::review::testing::{day, day_with, doubts, entry, id};

    fn lines() -> Vec<String> {
        let start = r#""drill":"1","step":"start""#;
        vec![
            entry(1, "Lead", "09:00:00", "drill", r#""label":"1""#),
            entry(2, "Lead", "09:00:00", "target", r#""drill":"1","label":"A""#),
            entry(3, "Obs1", "10:00:00", "moment", start),
            entry(4, "Obs2", "10:00:07", "moment", start),
            entry(5, "Obs3", "10:01:00", "moment", r#""drill":"1","target":"A","step":"signal""#),
            entry(6, "Obs3", "10:02:00", "moment", r#""drill":"1","target":"A","step":"coarse""#),
        ]
    }

    fn clock_doubts(record: &crate::day::Record) -> Vec<crate::review::Item> {
        let mut found = doubts(record, &TimeLine::of(record));
        found.retain(|i| i.item.ends_with("!clock"));
        found
    }

    #[test]
    fn a_clock_that_shares_no_press_is_one_doubt_and_its_writer_is_asked() {
        let found = clock_doubts(&day(&lines()));
        assert_eq!(found.len(), 1, "Lead timed nothing, Obs1 and Obs2 share the start");
        assert_eq!(
            (found[0].item.clone(), found[0].entries.clone()),
            (format!("{}!clock", id(5)), vec![id(5), id(6)])
        );
        assert_eq!(found[0].ask, ["Obs3"]);
        assert!(found[0].says.contains("2 times of Obs3"), "{}", found[0].says);
        assert!(
            found[0].says.ends_with("as the clock \"4f627333000000000000000000000000\""),
            "{}",
            found[0].says
        );
    }

    #[test]
    fn reading_it_or_accepting_it_puts_the_doubt_to_rest() {
        let accepted = format!("{}!clock", id(5));
        assert!(clock_doubts(&day_with(&lines(), &[(&accepted, &[r#"{"v":true}"#])])).is_empty());
        let mut read = lines();
        let obs3 = "4f627333000000000000000000000000";
        read.push(entry(
            7,
            "Obs1",
            "17:00:00",
            "clock_mark",
            &format!(r#""label":"read","clock":"{obs3}","shows":"17:00:03""#),
        ));
        assert!(clock_doubts(&day(&read)).is_empty());
    }
}
