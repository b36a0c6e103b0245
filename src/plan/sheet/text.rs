use super::super::Severity;
use super::{Line, Sheet};

const WIDTH_LEAST: usize = 48;
const WIDTH_MOST: usize = 160;
/// What stands before a step's own words: box and number.
const INDENT: usize = 7;

/// The sheet as plain text, no line longer than `width` columns (48 to 160).
pub fn text(sheet: &Sheet, width: usize) -> String {
    let mut page = Page { width: width.clamp(WIDTH_LEAST, WIDTH_MOST), lines: Vec::new() };
    page.line(&sheet.name.to_uppercase());
    page.rule();
    page.wrapped(sheet.note.as_deref().unwrap_or(""), 0);
    page.wrapped(&sheet.totals, 0);
    let digest = sheet.recipe_digest.get(..12).unwrap_or(&sheet.recipe_digest);
    page.wrapped(&format!("recipe {digest}"), 0);
    for finding in sheet.findings.iter().filter(|f| f.severity != Severity::Note) {
        let mark = if finding.severity == Severity::Unfit { "UNFIT" } else { "WARNING" };
        page.wrapped(&format!("{mark}: {}", finding.words), 0);
    }
    page.heading("in this order");
    let columns = Columns::of(sheet);
    for line in &sheet.lines {
        page.step(line, &columns);
    }
    page.heading("lye");
    page.list(sheet.lye.words.iter());
    page.heading("superfat");
    page.list(sheet.superfat.words.iter());
    page.wrapped(sheet.superfat.assumptions, 2);
    let notes = || sheet.findings.iter().filter(|finding| finding.severity == Severity::Note);
    if notes().next().is_some() {
        page.heading("worth knowing");
        page.list(notes().map(|finding| &finding.words));
    }
    page.heading("what the figures rest on");
    for basis in &sheet.basis {
        page.wrapped(&format!("{}: {}", basis.name, basis.words), 2);
    }
    page.rule();
    page.wrapped(sheet.promise, 0);
    page.lines.join("\n") + "\n"
}

/// Widths that line the weighings up.
struct Columns {
    title: usize,
    target: usize,
    tolerance: usize,
}

impl Columns {
    fn of(sheet: &Sheet) -> Columns {
        let weighings = || sheet.lines.iter().filter(|line| line.target.is_some());
        let widest = |of: fn(&Line) -> usize| weighings().map(of).max().unwrap_or(0);
        Columns {
            title: widest(|line| count(&line.title)),
            target: widest(|line| line.target.as_deref().map_or(0, count)),
            tolerance: widest(|line| line.tolerance.as_deref().map_or(0, count)),
        }
    }
}

struct Page {
    width: usize,
    lines: Vec<String>,
}

impl Page {
    fn line(&mut self, text: &str) {
        self.lines.push(text.trim_end().to_owned());
    }

    fn rule(&mut self) {
        self.lines.push("─".repeat(self.width));
    }

    fn heading(&mut self, words: &str) {
        self.lines.push(String::new());
        self.lines.push(words.to_uppercase());
    }

    fn list<'a>(&mut self, items: impl Iterator<Item = &'a String>) {
        for item in items {
            self.wrapped(item, 2);
        }
    }

    fn step(&mut self, line: &Line, columns: &Columns) {
        let number = format!("[ ] {:>2}", line.number);
        match (&line.target, &line.tolerance) {
            (Some(target), Some(tolerance)) => {
                let share =
                    line.share_percent.map_or(String::new(), |share| format!("{share:.1} %"));
                let row = format!(
                    "{number} {} {} {} {:>6}  {}",
                    padded(&line.title, columns.title, false),
                    padded(target, columns.target, true),
                    padded(&format!("({tolerance})"), columns.tolerance + 2, false),
                    share,
                    line.into.unwrap_or(""),
                );
                self.row(&row, &number, line);
            }
            _ => self.hanging(&format!("{number} {}", line.title), INDENT),
        }
        if let Some(lot) = &line.lot {
            self.wrapped(&format!("lot {lot}"), INDENT);
        }
        if !line.details.is_empty() {
            self.wrapped(&line.details.join("; "), INDENT);
        }
        if !line.hazards.is_empty() {
            let hazards = line.hazards.join("; ");
            self.hanging_at(&format!("! {hazards}"), INDENT, INDENT + 2);
        }
    }

    /// In columns where they fit, else one under the other.
    fn row(&mut self, row: &str, number: &str, line: &Line) {
        if count(row.trim_end()) <= self.width {
            self.line(row);
            return;
        }
        self.hanging(&format!("{number} {}", line.title), INDENT);
        let parts = [line.target.as_deref(), line.tolerance.as_deref(), line.into];
        let parts: Vec<&str> = parts.into_iter().flatten().collect();
        self.wrapped(&parts.join(", "), INDENT);
    }

    fn wrapped(&mut self, text: &str, indent: usize) {
        self.hanging_at(text, indent, indent);
    }

    fn hanging(&mut self, text: &str, indent: usize) {
        self.hanging_at(text, 0, indent);
    }

    /// Wraps at the page's width; the first line may stand further left than the rest.
    fn hanging_at(&mut self, text: &str, first: usize, rest: usize) {
        if text.is_empty() {
            return;
        }
        let mut line = " ".repeat(first);
        let mut empty = true;
        for word in text.split_inclusive(' ') {
            let bare = word.trim_end();
            if !empty && count(&line) + count(bare) > self.width {
                self.line(&line);
                line = " ".repeat(rest);
            }
            line.push_str(word);
            empty = false;
        }
        self.line(&line);
    }
}

fn count(text: &str) -> usize {
    text.chars().count()
}

fn padded(text: &str, width: usize, right: bool) -> String {
    let space = " ".repeat(width.saturating_sub(count(text)));
    if right { format!("{space}{text}") } else { format!("{text}{space}") }
}
