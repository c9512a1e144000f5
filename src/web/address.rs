//! Addresses of pages: names of jobs and of their parts as they stand in a path.

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};

use crate::domain::Hash;

/// What a part of a path may hold as it is (RFC 3986 section 2.3), and `@`.
const PART: &AsciiSet =
    &NON_ALPHANUMERIC.remove(b'-').remove(b'.').remove(b'_').remove(b'~').remove(b'@');

/// One part of a path: a number may have a stroke in it.
pub(super) fn part(text: &str) -> String {
    utf8_percent_encode(text, PART).to_string()
}

/// The page of a job, or something below it.
pub(super) fn of_job(number: &str, below: &str) -> String {
    format!("/job/{}{below}", part(number))
}

pub(super) fn photo(number: &str, sha256: Hash) -> String {
    of_job(number, &format!("/photo/{sha256}"))
}

pub(super) fn clip(number: &str, sha256: Hash) -> String {
    of_job(number, &format!("/clip/{sha256}"))
}

/// A photo of a job, or its preview, for programs.
pub(super) fn api_photo(number: &str, sha256: impl std::fmt::Display) -> String {
    format!("/api/v1/jobs/{}/photos/{sha256}", part(number))
}

/// The dates of a job.
pub(super) fn of_dates(number: &str) -> String {
    format!("/dates/{}", part(number))
}

/// Where a checklist is walked.
pub(super) fn of_walk(number: &str, checklist: &str) -> String {
    format!("/roof/{}/{}", part(number), part(checklist))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_one_part_of_a_path() {
        assert_eq!(of_job("2026/14", "/sheet"), "/job/2026%2F14/sheet");
        assert_eq!(of_job("EX-0001@0a1b", ""), "/job/EX-0001@0a1b");
        assert_eq!(of_walk("2026/17.a", "deck-intake"), "/roof/2026%2F17.a/deck-intake");
        assert_eq!(of_dates("2026/14"), "/dates/2026%2F14");
        assert_eq!(part("a b?\"<ñ"), "a%20b%3F%22%3C%C3%B1");
    }
}
