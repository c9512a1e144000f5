//! A writer of HTML that cannot be talked out of escaping: markup is `'static`,
//! so no value of a job can be written as markup. Drawings are the one exception:
//! who makes them escapes what stands in them.

use base64::prelude::{BASE64_STANDARD, Engine as _};

use crate::domain::At;

use super::super::words;

/// A piece of a page, safe to put into another.
#[derive(Clone, Debug, Default)]
pub(super) struct Html {
    markup: String,
    /// Of the parts in it, in order.
    headings: Vec<String>,
}

/// One row of a table.
#[derive(Clone, Debug)]
pub(super) enum Row {
    /// A heading over the rows that follow.
    Group(String),
    /// One cell a column; the first names the row.
    Cells(Vec<Html>),
}

impl Html {
    /// A piece of plain text.
    pub(super) fn of(text: &str) -> Self {
        let mut html = Self::default();
        html.text(text);
        html
    }

    pub(super) fn into_string(self) -> String {
        self.markup
    }

    /// Markup written in this program.
    pub(super) fn raw(&mut self, markup: &'static str) -> &mut Self {
        self.markup.push_str(markup);
        self
    }

    /// A drawing that this program made.
    pub(super) fn drawing(&mut self, svg: &str) -> &mut Self {
        self.markup.push_str(svg);
        self
    }

    /// A JPEG as part of the page; `shows` is read where it cannot be seen.
    pub(super) fn picture(&mut self, jpeg: &[u8], shows: &str) -> &mut Self {
        self.raw("<img alt=\"").text(shows).raw("\" src=\"data:image/jpeg;base64,");
        self.markup.push_str(&BASE64_STANDARD.encode(jpeg));
        self.raw("\">")
    }

    /// A value, escaped for text and for quoted attributes alike. A space
    /// inside a number such as `4 1/2` does not break the line.
    pub(super) fn text(&mut self, text: &str) -> &mut Self {
        let mut before = None;
        let mut rest = text.chars().peekable();
        while let Some(c) = rest.next() {
            let digit = |c: Option<&char>| c.is_some_and(char::is_ascii_digit);
            match c {
                ' ' if digit(before.as_ref()) && digit(rest.peek()) => {
                    self.markup.push_str("&nbsp;")
                }
                '&' => self.markup.push_str("&amp;"),
                '<' => self.markup.push_str("&lt;"),
                '>' => self.markup.push_str("&gt;"),
                '"' => self.markup.push_str("&quot;"),
                '\'' => self.markup.push_str("&#39;"),
                c => self.markup.push(words::visible(c)),
            }
            before = Some(c);
        }
        self
    }

    /// Another piece.
    pub(super) fn add(&mut self, html: &Html) -> &mut Self {
        self.markup.push_str(&html.markup);
        self.headings.extend_from_slice(&html.headings);
        self
    }

    /// The heading of a part, which [`contents`](Self::contents) lead to.
    pub(super) fn heading(&mut self, title: &str) -> &mut Self {
        self.headings.push(title.to_owned());
        let number = self.headings.len().to_string();
        self.raw("<h2 id=\"part-").text(&number).raw("\">").text(title).raw("</h2>\n")
    }

    /// The parts of another piece, each a link to its heading: the only piece of the
    /// page that has any.
    pub(super) fn contents(&mut self, of: &Html) -> &mut Self {
        self.raw("<nav aria-label=\"On this page\">\n<ul>\n");
        for (at, title) in of.headings.iter().enumerate() {
            let number = (at + 1).to_string();
            self.raw("<li><a href=\"#part-").text(&number).raw("\">").text(title);
            self.raw("</a></li>\n");
        }
        self.raw("</ul>\n</nav>\n")
    }

    /// An element around a value; `open` may carry attributes.
    pub(super) fn element(
        &mut self,
        open: &'static str,
        text: &str,
        close: &'static str,
    ) -> &mut Self {
        self.raw(open).text(text).raw(close)
    }

    /// A time at the address, the exact instant beside it for programs.
    pub(super) fn time(&mut self, at: At) -> &mut Self {
        self.raw("<time datetime=\"").text(&at.to_string()).raw("\">");
        self.text(&words::day_and_clock(at)).raw("</time>")
    }

    /// A value inside a style sheet's string, every unusual character by its
    /// code point, so that it can end neither the string nor the sheet.
    pub(super) fn css_string(&mut self, text: &str) -> &mut Self {
        self.markup.push('"');
        for c in words::one_line(text).chars() {
            match c {
                c if c.is_ascii_alphanumeric() => self.markup.push(c),
                c => self.markup.push_str(&format!("\\{:06x}", u32::from(c))),
            }
        }
        self.markup.push('"');
        self
    }

    /// A table. Roles are spelled out because a narrow screen shows the rows as
    /// blocks, and some readers then forget that it is a table.
    pub(super) fn table(
        &mut self,
        class: &'static str,
        headings: &[&'static str],
        rows: &[Row],
    ) -> &mut Self {
        self.raw("<table role=\"table\" class=\"").raw(class);
        self.raw("\"><thead role=\"rowgroup\"><tr role=\"row\">");
        for heading in headings {
            self.raw("<th scope=\"col\" role=\"columnheader\">").raw(heading).raw("</th>");
        }
        self.raw("</tr></thead>\n<tbody role=\"rowgroup\">");
        let columns = headings.len().to_string();
        for (at, row) in rows.iter().enumerate() {
            match row {
                Row::Group(name) => {
                    self.raw(if at == 0 { "" } else { "</tbody>\n<tbody role=\"rowgroup\">" });
                    self.raw("<tr role=\"row\" class=\"group\"><th scope=\"rowgroup\" ");
                    self.raw("role=\"rowheader\" colspan=\"").text(&columns).raw("\">");
                    self.text(name).raw("</th></tr>\n");
                }
                Row::Cells(cells) => self.cells(headings, cells),
            }
        }
        self.raw("</tbody></table>\n")
    }

    fn cells(&mut self, headings: &[&'static str], cells: &[Html]) {
        self.raw("<tr role=\"row\">");
        for (at, (heading, cell)) in headings.iter().zip(cells).enumerate() {
            let (open, close) = if at == 0 {
                ("<th scope=\"row\" role=\"rowheader\">", "</th>")
            } else {
                ("<td role=\"cell\" data-label=\"", "</td>")
            };
            self.raw(open);
            if 0 < at {
                self.raw(heading).raw("\">");
            }
            self.add(cell).raw(close);
        }
        self.raw("</tr>\n");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_value_becomes_markup() {
        let html = Html::of("<script>\"a\" & 'b'</script>\u{202e}\u{0}");
        assert_eq!(
            html.into_string(),
            "&lt;script&gt;&quot;a&quot; &amp; &#39;b&#39;&lt;/script&gt;\u{fffd}\u{fffd}"
        );
    }

    #[test]
    fn a_mixed_number_stays_on_one_line() {
        assert_eq!(Html::of("at 4 1/2 in, 3 of 5").into_string(), "at 4&nbsp;1/2 in, 3 of 5");
    }

    #[test]
    fn no_value_ends_the_style_sheet() {
        let mut html = Html::default();
        html.css_string("7\";}</style>é");
        assert_eq!(
            html.into_string(),
            "\"7\\000022\\00003b\\00007d\\00003c\\00002fstyle\\00003e\\0000e9\""
        );
    }
}
