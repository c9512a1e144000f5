//! The day log as plain text for a terminal or a printer.

use crate::domain::{Day, DayJob, Units, What};

use super::page::Page;
use super::{order, sound, words};

/// What the foreman reads: attention first, then the jobs with their entries.
/// Lengths are in the units of the trade's tapes, since a day spans jobs.
#[must_use]
pub fn day(day: &Day) -> String {
    let mut page = Page::default();
    page.paragraph(0, &format!("DAY LOG for {}", day.date));
    for (name, why) in &day.unread {
        page.paragraph(0, &format!("Job {name} (imported) cannot be shown: {why}"));
    }
    if day.jobs.is_empty() {
        if day.unread.is_empty() {
            page.paragraph(0, "Nothing was logged on this day.");
        }
        return page.into_string();
    }
    page.heading("What needs attention");
    if day.unread.is_empty() && day.jobs.iter().all(|job| job.attention.is_empty()) {
        page.paragraph(2, "Nothing.");
    }
    for job in day.jobs.iter().filter(|job| !job.attention.is_empty()) {
        page.paragraph(2, &job_name(job));
        for need in &job.attention {
            page.item(4, &words::numbered(need, order::day_title(job, need)));
        }
    }
    for job in &day.jobs {
        page.heading(&job_name(job));
        for line in sound::by_person(&job.ears, &job.checks) {
            page.item(2, &line);
        }
        for (entry, title) in &job.entries {
            // Told above, in one line a person.
            if matches!(entry.draft.what, What::EarOpened { .. } | What::EarClosed) {
                continue;
            }
            let line = words::entry(entry, title.as_deref(), Units::Us);
            let line = format!("{}  {line}", entry.draft.at.clock());
            page.hanging(2, 9, &line);
        }
    }
    page.into_string()
}

fn job_name(job: &DayJob) -> String {
    let invented = if job.invented { " (INVENTED EXAMPLE)" } else { "" };
    let imported = if job.imported_as.is_some() { " (imported, only read here)" } else { "" };
    format!("Job {}, {}{invented}{imported}", job.name(), job.address)
}
