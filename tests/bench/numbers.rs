//! Samples, their quantiles, and how results are shown.

use std::time::Duration;

use serde_json::json;

/// Times of many repeats, in microseconds.
#[derive(Clone, Debug, Default)]
pub(crate) struct Samples(Vec<f64>);

impl Samples {
    pub(crate) fn add(&mut self, span: Duration) {
        self.0.push(span.as_secs_f64() * 1e6);
    }

    pub(crate) fn len(&self) -> usize {
        self.0.len()
    }

    /// The value that this share of the samples does not exceed.
    ///
    /// # Panics
    /// Without any sample: a benchmark that measured nothing must not look as if it had.
    pub(crate) fn quantile(&self, share: f64) -> f64 {
        assert!(!self.0.is_empty(), "nothing was measured");
        let mut sorted = self.0.clone();
        sorted.sort_by(f64::total_cmp);
        let place = ((sorted.len() as f64 * share).ceil() as usize).clamp(1, sorted.len());
        sorted[place - 1]
    }
}

/// What a target asks.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Target {
    /// The value is at most this.
    ValueMost(f64),
    /// Value over baseline is at most this.
    RatioMost(f64),
    /// Value over baseline is at least this.
    RatioLeast(f64),
    /// Shown for comparison.
    None,
}

/// One line of the result.
#[derive(Debug)]
pub(crate) struct Row {
    pub(crate) name: String,
    pub(crate) value: f64,
    pub(crate) unit: &'static str,
    pub(crate) baseline: Option<f64>,
    pub(crate) target: Target,
}

/// By how much a brief run is shorter.
const BRIEF: u32 = 20;

/// Shows results as they come.
#[derive(Debug)]
pub(crate) struct Report {
    json: bool,
    brief: bool,
    missed: usize,
    rows: usize,
}

impl Report {
    /// A brief one shows that everything runs: its figures mean nothing, so no target is held against them.
    pub(crate) fn new(json: bool, brief: bool) -> Self {
        if !json {
            println!("{:<76} {:>12} {:<9} {:>12} {:>7}  {:<12} holds", "", "value", "unit", "baseline", "ratio", "target");
        }
        Self { json, brief, missed: 0, rows: 0 }
    }

    /// How long to measure that which takes `whole` in full.
    pub(crate) fn lasts(&self, whole: Duration) -> Duration {
        if self.brief { whole / BRIEF } else { whole }
    }

    /// How often to do what is done `whole` times in full.
    pub(crate) fn times(&self, whole: usize) -> usize {
        if self.brief { whole.div_ceil(BRIEF as usize) } else { whole }
    }

    pub(crate) fn row(&mut self, row: &Row) {
        let ratio = row.baseline.map(|baseline| row.value / baseline);
        let (target, holds) = match row.target {
            Target::ValueMost(most) => (format!("<= {most} {}", row.unit), Some(row.value <= most)),
            Target::RatioMost(most) => (format!("ratio <= {most}"), ratio.map(|ratio| ratio <= most)),
            Target::RatioLeast(least) => (format!("ratio >= {least}"), ratio.map(|ratio| ratio >= least)),
            Target::None => (String::new(), None),
        };
        let holds = holds.filter(|_| !self.brief);
        self.rows += 1;
        self.missed += usize::from(holds == Some(false));
        if self.json {
            let (baseline, name, value, unit) = (row.baseline, &row.name, row.value, row.unit);
            println!(
                "{}",
                json!({"name": name, "value": value, "unit": unit, "baseline": baseline, "ratio": ratio, "target": target, "holds": holds})
            );
            return;
        }
        let number = |value: Option<f64>| value.map_or_else(String::new, shown);
        let holds = holds.map_or("", |holds| if holds { "yes" } else { "NO" });
        let (value, baseline, ratio) = (shown(row.value), number(row.baseline), number(ratio));
        println!("{:<76} {value:>12} {:<9} {baseline:>12} {ratio:>7}  {target:<12} {holds}", row.name, row.unit);
    }

    /// What was measured, when it does not speak for itself.
    pub(crate) fn note(&self, text: &str) {
        if !self.json {
            println!("  {text}");
        }
    }

    pub(crate) fn end(&self) {
        match (self.json, self.brief) {
            (true, _) => {}
            (false, true) => println!("{} results of a brief run, which shows only that everything runs", self.rows),
            (false, false) => println!("{} results, {} targets missed", self.rows, self.missed),
        }
    }
}

fn shown(value: f64) -> String {
    match value.abs() {
        large if large >= 1000.0 => format!("{value:.0}"),
        middle if middle >= 10.0 => format!("{value:.1}"),
        _ => format!("{value:.3}"),
    }
}
