//! What of a day needs a person, and what settling it writes. Everything here is a pure function of [`Record`]s: equal changes, equal items,
//! whatever the order in which they came. It proposes; a person settles; settling writes registers of the day, so it travels like any entry.

mod across;
mod conflict;
mod doubt;
mod ground;
mod item;
mod kit;
mod missing;
mod settle;
#[cfg(test)]
mod testing;
mod twin;

pub use across::across;
pub use doubt::{Aside, after_removal, set_aside};
pub use ground::Ground;
pub use item::{Item, ItemValue, Sort};
#[cfg(test)]
pub(crate) use kit::kit;
pub(crate) use kit::{KitEvent, from_keys, kit_events, kit_ledger, with_keys};
pub use kit::{KitItem, KitState};
pub use settle::{Choice, SettleError, Settled, Verdict, field_of, find, plan, typed};
pub use twin::{NEVER_COMPARED_MS, OneEvent, WINDOWS, Window};

use crate::day::Record;

/// Every item of a day, in the order in which people should look: kit in the snow, what is missing, conflicts, doubts, twins.
///
/// `others` are the other days of its date, which may be the same day, and `kit` is the ledger over all days: kit lies in the snow whatever the day.
#[must_use]
pub fn review(day: &Ground<'_>, one_event: &OneEvent, kit: &[KitItem], others: &[&Record]) -> Vec<Item> {
    let mut all: Vec<&Record> = vec![day.record];
    all.extend(others.iter().copied().filter(|o| o.id != day.record.id));
    let mut items = kit::items(kit);
    items.extend(missing::items(day));
    items.extend(conflict::items(day));
    items.extend(doubt::items(day, one_event));
    items.extend(across(&all).into_iter().filter(|i| i.day == day.record.id));
    items.extend(twin::items(day, one_event));
    items
}

#[cfg(test)]
mod tests {
    use super::testing::{day, entry, items};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn an_empty_day_asks_nothing() {
        assert!(items(&day(&[])).is_empty());
    }

    #[test]
    fn items_come_in_the_order_in_which_people_should_look() {
        let record = day(&[
            entry(1, "Lead", "10:00:00", "drill", r#""label":"1""#),
            entry(2, "Lead", "10:01:00", "target", r#""drill":"1","label":"A""#),
            entry(3, "Obs1", "10:05:00", "moment", r#""drill":"1","target":"A","step":"signal""#),
            entry(4, "Obs2", "10:05:02", "moment", r#""drill":"1","target":"A","step":"signal""#),
            entry(5, "Obs2", "10:06:00", "strike", r#""drill":"1","outcome":"hit""#),
            entry(6, "Obs2", "10:00:00", "drill", r#""label":"1","slope_deg":30"#),
            entry(7, "Obs1", "10:00:00", "drill", r#""label":"1","slope_deg":31"#),
        ]);
        let items = items(&record);
        let sorts: Vec<Sort> = items.iter().map(|i| i.sort).collect();
        let mut sorted = sorts.clone();
        sorted.sort();
        assert_eq!(sorts, sorted);
        assert!(items[0].is_kit());
        for sort in [Sort::Missing, Sort::Conflict, Sort::Doubt, Sort::Twin] {
            assert!(sorts.contains(&sort), "{sort:?}");
        }
    }

    proptest! {
        #[test]
        fn items_do_not_depend_on_the_order_of_arrival(
            picks in prop::collection::vec((0_u8..6, 0_u8..4, 0_u32..120, 0_u8..3), 1..40),
            seed in any::<u64>(),
        ) {
            let lines: Vec<String> = picks.iter().enumerate().map(|(n, (what, who, second, target))| {
                let by = format!("Obs{who}");
                let at = format!("10:{:02}:{:02}", second / 60, second % 60);
                let target = ["\"drill\":\"1\",\"target\":\"A\"", "\"drill\":\"1\",\"target\":\"B\"", "\"drill\":\"1\""][*target as usize];
                let (kind, fields) = match what {
                    0 => ("moment", format!("{target},\"step\":\"signal\"")),
                    1 => ("moment", format!("{target},\"step\":\"strike\"")),
                    2 => ("strike", format!("{target},\"outcome\":\"hit\",\"depth_cm\":{}", second * 11)),
                    3 => ("rotation", format!("{target},\"front\":\"Dig{who}\"")),
                    4 => ("drill", format!("\"label\":\"1\",\"slope_deg\":{who}")),
                    _ => ("kit", format!("{target},\"item\":\"TX{who}\",\"step\":\"buried\"")),
                };
                entry(u8::try_from(n).unwrap(), &by, &at, kind, &fields)
            }).collect();
            let mut shuffled = lines.clone();
            let mut state = seed;
            for i in (1..shuffled.len()).rev() {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                shuffled.swap(i, (state >> 33) as usize % (i + 1));
            }
            let (one, other) = (day(&lines), day(&shuffled));
            let mine = items(&one);
            prop_assert_eq!(&mine, &items(&other));
            let mut codes: Vec<&str> = mine.iter().map(|i| i.code.as_str()).collect();
            codes.sort_unstable();
            codes.dedup();
            prop_assert_eq!(codes.len(), mine.len(), "one code, one item");
        }
    }
}
