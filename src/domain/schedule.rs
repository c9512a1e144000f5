//! Follow-up dates: computed from what stands, given out with a sequence that
//! rises whenever a date or title changes.

use jiff::civil::time;
use jiff::tz::TimeZone;

use super::entry::{How, Key};
use super::{At, Checklist, Draft, FollowUp, Job, Standing, What};

/// A follow-up that is due.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    /// Stable identifier.
    pub uid: String,
    /// The local day and hour it begins.
    pub start: At,
    /// How long it takes, in minutes.
    pub lasts_min: u32,
    /// What it is.
    pub title: String,
    /// The checklist to walk then.
    pub checklist: Option<String>,
    /// RFC 5545 SEQUENCE.
    pub sequence: u32,
    /// When it was given out with this sequence (RFC 5545 DTSTAMP).
    pub issued: At,
}

/// Follow-ups of every walk of the job that has ended, at nine in the morning
/// of the address. `now` dates those that are new or changed.
#[must_use]
pub fn due(
    job: &Job,
    checklists: &[&Checklist],
    standing: &Standing,
    zone: &TimeZone,
    now: At,
) -> Vec<Due> {
    let mut all = Vec::new();
    for checklist in checklists {
        let walks = standing.walks_of(&checklist.id);
        let ended = walks.filter_map(|(id, walk)| Some((id, walk.ended?)));
        let follow_ups = |of| checklist.follow_ups.iter().map(move |follow_up| (of, follow_up));
        for ((id, ended), follow_up) in ended.flat_map(follow_ups) {
            let day = ended.instant().to_zoned_datetime(zone.clone()).date();
            // A date past the calendar's end is no date anybody can keep.
            let Some(start) = start(day, follow_up, zone) else { continue };
            let uid = format!("{}.{id}.{}@chalkhand", job.number, follow_up.id);
            let issued = standing.issued.get(&uid);
            let same = issued.filter(|i| i.start == start && i.title == follow_up.title);
            all.push(Due {
                uid,
                start,
                lasts_min: follow_up.lasts_min,
                title: follow_up.title.clone(),
                checklist: follow_up.checklist.clone(),
                sequence: match (same, issued) {
                    (Some(same), _) => same.sequence,
                    (None, Some(before)) => before.sequence.saturating_add(1),
                    (None, None) => 0,
                },
                issued: same.map_or(now, |same| same.at),
            });
        }
    }
    all.sort_by(|a, b| (a.start.ms(), &a.uid).cmp(&(b.start.ms(), &b.uid)));
    all
}

fn start(day: jiff::civil::Date, follow_up: &FollowUp, zone: &TimeZone) -> Option<At> {
    let day = day.checked_add(follow_up.after).ok()?;
    let zoned = day.to_datetime(time(9, 0, 0, 0)).to_zoned_datetime(zone.clone()).ok()?;
    Some(At::new(zoned.timestamp(), zone))
}

/// The entries that give out what is new or changed.
#[must_use]
pub fn issue(job: &Job, due: &[Due], standing: &Standing, now: At, by: &str) -> Vec<Draft> {
    let changed = due.iter().filter(|due| {
        standing.issued.get(&due.uid).is_none_or(|issued| issued.sequence != due.sequence)
    });
    changed
        .map(|due| Draft {
            job: job.number.clone(),
            walk: None,
            at: now,
            by: by.to_owned(),
            how: How::Command,
            what: What::FollowUpIssued {
                uid: due.uid.clone(),
                start: due.start,
                title: due.title.clone(),
                sequence: due.sequence,
            },
            corrects: None,
            key: Key(format!("issue/{}/{}", due.uid, due.sequence)),
        })
        .collect()
}
