//! Who a name means: a person is a call sign on a day; across days only the member code says that two call signs are one person.

use crate::day::DayId;
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// Who is meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Who {
    /// The person of this member code, on every day.
    Member(String),
    /// The person of this call sign on this day alone.
    CallSign(DayId, String),
}

/// A day on which a call sign was heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sighting {
    /// The day.
    pub day: DayId,
    /// Its date.
    pub date: NaiveDate,
    /// The member code of that call sign on that day, if one was written.
    pub member: Option<String>,
}

/// Why a name stands for no one person.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WhoError {
    /// Nobody of that name.
    #[error("nobody is called \"{0:.80}\" on these days; `firnbook entries --kind person` shows who is")]
    Nobody(String),
    /// Several members used the call sign.
    #[error("\"{name}\" is {} people on these days: members {}; name one member", .members.len(), .members.join(", "))]
    Several {
        /// The call sign.
        name: String,
        /// The member codes.
        members: Vec<String>,
    },
    /// Days that nothing joins.
    #[error(
        "\"{name}\" was heard on {days} days without a member code, which may be different people; write `member` for them, or name one day"
    )]
    NotJoined {
        /// The call sign.
        name: String,
        /// Number of days.
        days: usize,
    },
}

impl Who {
    /// Who a call sign means, from the days on which it was heard.
    ///
    /// # Errors
    /// A call sign that nobody has, that several members have, or whose days no member code joins.
    pub fn of(call_sign: &str, heard: &[Sighting]) -> Result<Who, WhoError> {
        let name = call_sign.to_owned();
        let members: BTreeSet<&String> = heard.iter().filter_map(|s| s.member.as_ref()).collect();
        let members: Vec<String> = members.into_iter().cloned().collect();
        match (members.as_slice(), heard) {
            (_, []) => Err(WhoError::Nobody(name)),
            ([one], _) => Ok(Who::Member(one.clone())),
            ([], [only]) => Ok(Who::CallSign(only.day, name)),
            ([], days) => Err(WhoError::NotJoined { name, days: days.len() }),
            _ => Err(WhoError::Several { name, members }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn across_days_only_a_member_code_makes_one_person() {
        let heard = |n: u8, member: Option<&str>| Sighting {
            day: DayId([n; 16]),
            date: "2027-02-06".parse().unwrap(),
            member: member.map(str::to_owned),
        };
        assert_eq!(Who::of("P1", &[heard(1, None)]), Ok(Who::CallSign(DayId([1; 16]), "P1".to_owned())));
        let joined = [heard(1, Some("m7")), heard(2, None), heard(3, Some("m7"))];
        assert_eq!(Who::of("P1", &joined), Ok(Who::Member("m7".to_owned())));
        let several = Who::of("P1", &[heard(1, Some("m7")), heard(2, Some("m9"))]).unwrap_err();
        assert!(several.to_string().contains("2 people on these days: members m7, m9"));
        let apart = Who::of("P1", &[heard(1, None), heard(2, None)]).unwrap_err();
        assert!(apart.to_string().contains("2 days without a member code"));
        assert_eq!(Who::of("P1", &[]), Err(WhoError::Nobody("P1".to_owned())));
    }
}
