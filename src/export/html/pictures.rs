//! Photos on the page: the previews themselves, so that the page is whole
//! without any other file.

use crate::domain::{Record, RecordPhoto};

use super::super::photos::{self, Previews};
use super::writer::Html;

pub(super) fn photos(page: &mut Html, record: &Record, previews: &Previews) {
    if record.photos.is_empty() {
        return;
    }
    page.raw("<section>\n").heading("Photos");
    page.raw("<p>Smaller pictures made from the photos that are ");
    page.raw("kept. A photo is named by the SHA-256 of its file.</p>\n<div class=\"photos\">\n");
    for (at, kept) in record.photos.iter().enumerate() {
        let number = at + 1;
        page.raw("<figure>");
        match previews.get(&kept.photo.preview_sha256) {
            Some(jpeg) => {
                page.picture(jpeg, &format!("Photo {number}: {}", shows(kept)));
            }
            None => {
                page.raw("<p>(Its smaller picture was not there whole.)</p>");
            }
        }
        page.raw("<figcaption><strong>");
        page.text(&format!("Photo {number}: {}", shows(kept))).raw("</strong>");
        if let (Some(title), Some(_)) = (&kept.title, &kept.photo.caption) {
            page.element("<br>At the step “", title, "”");
        }
        if let Some(amiss) = photos::amiss(kept) {
            page.element("<br><strong>", amiss, "</strong>");
            let preview = kept.photo.preview_sha256.to_string();
            page.element(
                "<br>The picture is the smaller copy made when it was kept: <span \
                          class=\"hash\">",
                &preview,
                "</span>",
            );
        }
        page.raw("<br>Kept ").time(kept.at).text(&format!(" by {}, entry {}", kept.by, kept.seq));
        page.element("<br>", &photos::size_and_taken(&kept.photo), "");
        let hash = kept.photo.sha256.to_string();
        page.element("<br><span class=\"hash\">", &hash, "</span>");
        if let Some(left_out) = photos::left_out(&kept.photo) {
            page.element("<br>", &left_out, "");
        }
        page.raw("</figcaption></figure>\n");
    }
    page.raw("</div>\n</section>\n");
}

/// What somebody says it shows, else the step it was kept at.
fn shows(kept: &RecordPhoto) -> &str {
    let words = kept.photo.caption.as_deref().or(kept.title.as_deref());
    words.unwrap_or("of this job, without words")
}
