use std::fmt::Write;

use super::super::Severity;
use super::{Line, Sheet};

/// One page to print. No script and nothing from outside, so that it prints anywhere.
const STYLE: &str = "\
@page{margin:12mm}\
body{font:10.5pt/1.3 Georgia,serif;color:#111;background:#fff;margin:0 auto;max-width:46em;padding:1em}\
h1{font-size:17pt;margin:0;border-bottom:2pt solid}\
h2{font-size:10.5pt;margin:.9em 0 .2em;font-variant:small-caps;letter-spacing:.06em}\
p,ul{margin:.15em 0}ul{padding-left:1.2em}\
table{border-collapse:collapse;width:100%}\
td{padding:.12em .5em .12em 0;vertical-align:top;border-top:.4pt solid #999}\
td.m{text-align:right;white-space:nowrap;font-weight:bold;font-variant-numeric:tabular-nums}\
td.b{width:1.1em}td.b i{display:inline-block;width:.8em;height:.8em;border:.8pt solid}\
td.w{width:5.5em;border-bottom:.4pt dotted #999}\
.s{color:#444;font-size:9pt}\
.h{margin:.1em 0 .1em .4em;padding-left:.5em;border-left:2.5pt solid #000;font-size:9pt}\
.warn,.unfit{border:1pt solid;padding:.2em .5em;margin:.3em 0}\
.unfit{border-width:3pt;font-weight:bold}\
.foot{margin-top:.8em;border-top:1pt solid;padding-top:.3em;font-size:9pt}\
tr{break-inside:avoid}\
@media print{body{font-size:8.5pt;max-width:none;padding:0}.s,.h,.foot{font-size:7.5pt}}\
";

/// The sheet as one printable page with its own style; every word of the maker is escaped.
pub fn html(sheet: &Sheet) -> String {
    let mut page = Page { out: String::new() };
    page.raw("<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">");
    page.raw("<meta name=\"viewport\" content=\"width=device-width\">");
    page.element("title", "", &format!("{}: batch sheet", sheet.name));
    page.raw("<style>");
    page.raw(STYLE);
    page.raw("</style></head><body>\n");
    page.raw(&html_body(sheet));
    page.raw("</body></html>\n");
    page.out
}

/// What stands on the sheet, to be put into another page; every word of the maker is escaped.
pub fn html_body(sheet: &Sheet) -> String {
    let mut page = Page { out: String::new() };
    page.element("h1", "", &sheet.name);
    for words in sheet.note.iter().chain([&sheet.totals]) {
        page.element("p", "", words);
    }
    page.element("p", "s", &format!("recipe {}", sheet.recipe_digest));
    for finding in &sheet.findings {
        match finding.severity {
            Severity::Unfit => page.element("p", "unfit", &format!("unfit: {}", finding.words)),
            Severity::Warning => page.element("p", "warn", &format!("warning: {}", finding.words)),
            Severity::Note => {}
        }
    }
    page.element("h2", "", "in this order");
    page.raw("<table>\n");
    for line in &sheet.lines {
        page.step(line);
    }
    page.raw("</table>\n");
    page.list("lye", sheet.lye.words.iter().map(String::as_str));
    let assumptions = std::iter::once(sheet.superfat.assumptions);
    let superfat = sheet.superfat.words.iter().map(String::as_str).chain(assumptions);
    page.list("superfat", superfat);
    let notes = sheet.findings.iter().filter(|finding| finding.severity == Severity::Note);
    page.list("worth knowing", notes.map(|finding| finding.words.as_str()));
    let basis: Vec<String> =
        sheet.basis.iter().map(|basis| format!("{}: {}", basis.name, basis.words)).collect();
    page.list("what the figures rest on", basis.iter().map(String::as_str));
    page.element("p", "foot", sheet.promise);
    page.out
}

struct Page {
    out: String,
}

impl Page {
    fn raw(&mut self, html: &str) {
        self.out.push_str(html);
    }

    fn element(&mut self, tag: &str, class: &str, words: &str) {
        let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
        // writing to a String cannot fail
        let _ = writeln!(self.out, "<{tag}{class}>{}</{tag}>", escaped(words));
    }

    fn list<'a>(&mut self, heading: &str, items: impl Iterator<Item = &'a str>) {
        let mut items = items.peekable();
        if items.peek().is_none() {
            return;
        }
        self.element("h2", "", heading);
        self.raw("<ul>\n");
        for item in items {
            self.element("li", "", item);
        }
        self.raw("</ul>\n");
    }

    fn step(&mut self, line: &Line) {
        let _ = write!(self.out, "<tr><td class=\"b\"><i></i><td>{}<td>", line.number);
        self.raw(&escaped(&line.title));
        let mut small: Vec<String> = Vec::new();
        small.extend(line.lot.as_ref().map(|lot| format!("lot {lot}")));
        small.extend(line.tolerance.as_ref().map(|tolerance| format!("within {tolerance}")));
        small.extend(line.share_percent.map(|share| format!("{share:.1} % of the oils")));
        small
            .extend(line.into.map(|into| format!("into the {into}").replace("the own", "its own")));
        small.extend(line.details.iter().cloned());
        if !small.is_empty() {
            self.element("div", "s", &small.join("; "));
        }
        if !line.hazards.is_empty() {
            // one paragraph a step, so that the whole fits a page
            self.element("div", "h", &line.hazards.join("; "));
        }
        let target = line.target.as_deref().unwrap_or("");
        let _ = writeln!(self.out, "<td class=\"m\">{}<td class=\"w\"></tr>", escaped(target));
    }
}

fn escaped(words: &str) -> String {
    let mut out = String::with_capacity(words.len());
    for c in words.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() && c != '\n' => {}
            c => out.push(c),
        }
    }
    out
}
