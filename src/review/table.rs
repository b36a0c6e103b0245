//! Columns of text for a terminal.

/// Rows under headings; the last column takes what is left of the line and breaks at spaces.
#[derive(Clone, Debug)]
pub struct Table {
    heads: Vec<(&'static str, Side)>,
    rows: Vec<Vec<String>>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    Left,
    Right,
}

const INDENT: &str = "  ";
const BETWEEN: &str = "  ";
/// A last column narrower than this is no use: the line grows instead.
const LAST_WIDTH_MIN: usize = 16;

impl Table {
    pub fn new(heads: &[(&'static str, Side)]) -> Table {
        Table { heads: heads.to_vec(), rows: Vec::new() }
    }

    pub fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells.iter().map(|cell| plain(cell)).collect());
    }

    /// The headings, some of them empty.
    pub fn heads(&self) -> &[(&'static str, Side)] {
        &self.heads
    }

    pub fn rows(&self) -> &[Vec<String>] {
        &self.rows
    }

    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    pub fn lines(&self, width: usize) -> Vec<String> {
        let heads: Vec<String> = self.heads.iter().map(|(head, _)| (*head).to_owned()).collect();
        let headed = heads.iter().any(|head| !head.is_empty());
        let rows: Vec<&Vec<String>> =
            headed.then_some(&heads).into_iter().chain(&self.rows).collect();
        let last = self.heads.len().saturating_sub(1);
        let widths: Vec<usize> = (0..last)
            .map(|column| rows.iter().map(|row| cells_of(row, column)).max().unwrap_or(0))
            .collect();
        let taken = INDENT.len() + widths.iter().map(|cells| cells + BETWEEN.len()).sum::<usize>();
        let rest = width.saturating_sub(taken).max(LAST_WIDTH_MIN);
        let mut lines = Vec::new();
        for row in rows {
            let mut line = INDENT.to_owned();
            for (column, cells) in widths.iter().enumerate() {
                let cell = row.get(column).map_or("", String::as_str);
                line.push_str(&padded(cell, *cells, self.heads[column].1));
                line.push_str(BETWEEN);
            }
            let tail = row.get(last).map_or("", String::as_str);
            for (index, part) in wrapped(tail, rest).iter().enumerate() {
                let start = if index == 0 { line.clone() } else { " ".repeat(taken) };
                lines.push(format!("{start}{part}").trim_end().to_owned());
            }
        }
        lines
    }
}

/// What a person wrote cannot move the cursor or colour the screen.
pub fn plain(text: &str) -> String {
    let shown = text.chars().map(|letter| if letter.is_control() { ' ' } else { letter });
    shown.collect()
}

/// Breaks at spaces, but never between a number and its unit; a word longer than the line stays
/// whole. Never empty.
pub fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in unbroken(text) {
        let cells = word.chars().count();
        if used > 0 && used + 1 + cells > width {
            lines.push(String::new());
            used = 0;
        }
        // there is always a last line
        let Some(line) = lines.last_mut() else { break };
        if used > 0 {
            line.push(' ');
            used += 1;
        }
        line.push_str(&word);
        used += cells;
    }
    lines
}

/// The words of a text, a number together with the word behind it.
fn unbroken(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut after_number = false;
    for word in text.split_whitespace() {
        match words.last_mut().filter(|_| after_number) {
            Some(number) => {
                number.push(' ');
                number.push_str(word);
            }
            None => words.push(word.to_owned()),
        }
        let digits = word.trim_start_matches(['+', '−', '(']);
        let number = digits.chars().all(|letter| letter.is_ascii_digit() || letter == '.');
        after_number = number && !digits.is_empty() && !word.ends_with('.');
    }
    words
}

fn padded(cell: &str, cells: usize, side: Side) -> String {
    let space = " ".repeat(cells.saturating_sub(cell.chars().count()));
    match side {
        Side::Left => format!("{cell}{space}"),
        Side::Right => format!("{space}{cell}"),
    }
}

fn cells_of(row: &[String], column: usize) -> usize {
    row.get(column).map_or(0, |cell| cell.chars().count())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> Table {
        let mut table =
            Table::new(&[("what", Side::Left), ("net", Side::Right), ("said", Side::Left)]);
        let row = |cells: [&str; 3]| cells.map(str::to_owned).to_vec();
        table.row(row(["olive oil", "200.0 g", "weighed and then looked at"]));
        table.row(row(["lye", "−1 g", ""]));
        table
    }

    #[test]
    fn columns_line_up_and_the_last_one_breaks() {
        let expected = [
            "  what           net  said",
            "  olive oil  200.0 g  weighed and then",
            "                      looked at",
            "  lye           −1 g",
        ];
        assert_eq!(table().lines(40), expected);
    }

    #[test]
    fn a_narrow_screen_keeps_every_word() {
        let lines = table().lines(10).join(" ");
        for word in ["olive", "200.0", "weighed", "looked"] {
            assert!(lines.contains(word), "{word}");
        }
    }

    #[test]
    fn nothing_a_person_wrote_moves_the_cursor() {
        let mut table = Table::new(&[("", Side::Left)]);
        table.row(vec!["red \u{1b}[31m\r\nink".to_owned()]);
        assert_eq!(table.lines(40), ["  red [31m ink"]);
    }

    #[test]
    fn a_word_longer_than_the_line_stays_whole() {
        assert_eq!(wrapped("a verylongword b", 5), ["a", "verylongword", "b"]);
        assert_eq!(wrapped("", 5), [""]);
    }

    #[test]
    fn a_number_keeps_its_unit() {
        assert_eq!(
            wrapped("up to 99.3 °C, for 1 min 05 s", 13),
            ["up to", "99.3 °C, for", "1 min 05 s"]
        );
    }
}
