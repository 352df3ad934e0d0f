//! Reading the tables: one header row, comma separated, quotes where a cell holds a comma.

/// One row, with its cells by column name.
pub(crate) struct Row {
    columns: std::rc::Rc<Vec<String>>,
    cells: Vec<String>,
    line: usize,
}

/// Half of the last of six printed digits, as a share of the value.
pub(crate) const SIX_DIGITS: f64 = 5e-6;
/// The same for eight digits.
pub(crate) const EIGHT_DIGITS: f64 = 5e-8;

/// Reads a table of `tests/data` at compile time.
macro_rules! table {
    ($name:literal) => {
        crate::table::read(include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/", $name, ".csv")))
    };
}
pub(crate) use table;

/// Reads a whole table; a row of another width than the header is a defect of the table.
pub(crate) fn read(text: &str) -> Vec<Row> {
    let mut lines = text.lines();
    let columns = std::rc::Rc::new(split(lines.next().expect("a header row")));
    let rows: Vec<Row> =
        lines.enumerate().map(|(at, line)| Row { columns: columns.clone(), cells: split(line), line: at + 2 }).collect();
    assert!(!rows.is_empty(), "an empty table checks nothing");
    rows.iter().for_each(|row| assert_eq!(row.cells.len(), columns.len(), "line {}", row.line));
    rows
}

impl Row {
    /// The cell of a column.
    pub(crate) fn text(&self, column: &str) -> &str {
        let at = self.columns.iter().position(|name| name == column).unwrap_or_else(|| panic!("no column {column}"));
        &self.cells[at]
    }

    /// The number in a column.
    pub(crate) fn number(&self, column: &str) -> f64 {
        let text = self.text(column);
        text.parse().unwrap_or_else(|_| panic!("line {}: {column} is `{text}`, not a number", self.line))
    }

    /// The number in a column that may be empty or hold a word.
    pub(crate) fn maybe(&self, column: &str) -> Option<f64> {
        self.text(column).parse().ok()
    }

    /// Asserts that a value agrees with a column within a share of it.
    pub(crate) fn agrees(&self, column: &str, ours: f64, share: f64) {
        let theirs = self.number(column);
        assert!(
            (ours - theirs).abs() <= share * theirs.abs(),
            "line {}: {column} is {theirs}, ours {ours}: off by {:e} of it, allowed {share:e}",
            self.line,
            (ours - theirs) / theirs
        );
    }

    /// Asserts that a value agrees with a column within an absolute difference.
    pub(crate) fn near(&self, column: &str, ours: f64, difference: f64) {
        let theirs = self.number(column);
        assert!(
            (ours - theirs).abs() <= difference,
            "line {}: {column} is {theirs}, ours {ours}, allowed {difference}",
            self.line
        );
    }
}

fn split(line: &str) -> Vec<String> {
    let (mut cells, mut cell, mut quoted) = (Vec::new(), String::new(), false);
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ',' if !quoted => cells.push(core::mem::take(&mut cell)),
            other => cell.push(other),
        }
    }
    cells.push(cell);
    cells
}
