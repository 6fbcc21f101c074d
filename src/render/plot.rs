//! Pictures of numbers as lines of text: fills in order against target and limits, and how often each weight came.
//!
//! Pure: numbers in, lines out, no colour, no escapes, never wider than asked. The last line (two on a
//! narrow screen) says what the marks mean.

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Narrowest picture that is drawn; below it there is only the last line.
const NARROWEST: usize = 20;
/// Rows of a strip chart.
const ROWS: usize = 11;
/// Rows of a histogram.
const BINS: usize = 9;

/// Fills in order with what to hold them against; all in one unit.
#[derive(Debug, Clone, Default)]
pub struct Strip {
    /// The fills.
    pub values: Vec<f64>,
    /// What each should weigh.
    pub target: Option<f64>,
    /// Lower and upper limit.
    pub limits: Option<(f64, f64)>,
    /// Places (from zero) of fills to be marked as strays.
    pub strays: Vec<usize>,
    /// Name of the unit, for the axis.
    pub unit: String,
}

/// The marks of a picture.
struct Marks {
    fill: char,
    stray: char,
    over: char,
    under: char,
    target: char,
    limit: char,
    axis: char,
    bar: char,
}

impl Marks {
    const fn of(unicode: bool) -> Self {
        if unicode {
            Self {
                fill: '●',
                stray: '◆',
                over: '▲',
                under: '▼',
                target: '─',
                limit: '┄',
                axis: '│',
                bar: '█',
            }
        } else {
            Self {
                fill: 'o',
                stray: 'X',
                over: '^',
                under: 'v',
                target: '-',
                limit: '.',
                axis: '|',
                bar: '#',
            }
        }
    }
}

/// Draws fills in order from left to right, light below, heavy above. More fills than columns share a column.
pub fn strip_chart(strip: &Strip, width: usize, unicode: bool) -> Vec<String> {
    let values: Vec<f64> = strip.values.iter().copied().filter(|v| v.is_finite()).collect();
    let marks = Marks::of(unicode);
    if values.is_empty() || width < NARROWEST {
        return fitted(&[format!("{} fills", values.len())], width);
    }
    let scale = Scale::around(&values, strip.target, strip.limits);
    let labels = scale.labels();
    let margin = labels.iter().map(String::len).max().unwrap_or(0);
    let columns = width.saturating_sub(margin + 2);
    if columns < 4 {
        return fitted(&[format!("{} fills", values.len())], width);
    }
    let mut grid = vec![vec![' '; columns.min(columns_for(values.len(), columns))]; ROWS];
    let limits = strip.limits.map(|(low, high)| [low, high]);
    for limit in limits.iter().flatten() {
        rule(&mut grid, &scale, *limit, marks.limit);
    }
    if let Some(target) = strip.target {
        rule(&mut grid, &scale, target, marks.target);
    }
    let mut clipped = false;
    let spacing = (grid[0].len() / values.len()).max(1);
    for (at, value) in strip.values.iter().enumerate().filter(|(_, v)| v.is_finite()) {
        let column = place(at, strip.values.len(), grid[0].len(), spacing);
        let (row, mark) = match scale.row(*value) {
            Ok(row) if strip.strays.contains(&at) => (row, marks.stray),
            Ok(row) => (row, marks.fill),
            Err(high) => {
                clipped = true;
                if high { (0, marks.over) } else { (ROWS - 1, marks.under) }
            }
        };
        // A stray is never hidden by a fill in the same column.
        if grid[row][column] != marks.stray {
            grid[row][column] = mark;
        }
    }
    let mut lines: Vec<String> = grid
        .iter()
        .zip(&labels)
        .map(|(row, label)| format!("{label:>margin$} {}{}", marks.axis, row.iter().collect::<String>()))
        .map(|line| line.trim_end().to_owned())
        .collect();
    lines.extend(fitted(&wrapped(&legend(strip, &marks, clipped), width), width));
    lines
}

/// Draws how many fills fell into each band of weight, heavy on top.
pub fn histogram(strip: &Strip, width: usize, unicode: bool) -> Vec<String> {
    let values: Vec<f64> = strip.values.iter().copied().filter(|v| v.is_finite()).collect();
    let marks = Marks::of(unicode);
    if values.is_empty() || width < NARROWEST {
        return fitted(&[format!("{} fills", values.len())], width);
    }
    let scale = Scale::around(&values, None, None);
    let step = (scale.high - scale.low) / BINS as f64;
    let bin = |v: f64| (((v - scale.low) / step).max(0.0) as usize).min(BINS - 1);
    let mut counts = [0usize; BINS];
    for value in &values {
        counts[bin(*value)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(1).max(1);
    let middle = |i: usize| scale.low + step * (i as f64 + 0.5);
    let places = decimals(step);
    let labels: Vec<String> = (0..BINS).map(|i| format!("{:.places$}", middle(i))).collect();
    let margin = labels.iter().map(String::len).max().unwrap_or(0);
    let digits = most.to_string().len();
    let room = width.saturating_sub(margin + digits + 5).max(1);
    let target_bin = strip.target.filter(|t| (scale.low..=scale.high).contains(t)).map(bin);
    let line = |i: usize| {
        let length = if counts[i] == 0 { 0 } else { (counts[i] * room / most).max(1) };
        let axis = if target_bin == Some(i) { '>' } else { ' ' };
        let bar: String = std::iter::repeat_n(marks.bar, length).collect();
        format!("{:>margin$} {axis}{} {bar} {}", labels[i], marks.axis, counts[i]).trim_end().to_owned()
    };
    let mut lines: Vec<String> = (0..BINS).rev().map(line).collect();
    let unit = if strip.unit.is_empty() { String::new() } else { format!(" in {}", strip.unit) };
    let target = if target_bin.is_some() { "; > target" } else { "" };
    let clipped = values.iter().any(|v| *v < scale.low || *v > scale.high);
    let ends = if clipped { "; end bars hold all beyond" } else { "" };
    lines.extend(fitted(&[format!("fills by weight{unit}{target}{ends}")], width));
    lines
}

/// How many columns the fills take: two or three each when there is room, so that order can be seen.
fn columns_for(fills: usize, columns: usize) -> usize {
    let spacing = (columns / fills).clamp(1, 3);
    (fills * spacing).min(columns).max(1)
}

fn place(at: usize, fills: usize, columns: usize, spacing: usize) -> usize {
    if fills <= columns { (at * spacing).min(columns - 1) } else { at * columns / fills }
}

fn rule(grid: &mut [Vec<char>], scale: &Scale, at: f64, mark: char) {
    if let Ok(row) = scale.row(at) {
        grid[row].fill(mark);
    }
}

fn legend(strip: &Strip, marks: &Marks, clipped: bool) -> Vec<String> {
    let mut parts = vec![format!("{} fill", marks.fill)];
    if strip.target.is_some() {
        parts.push(format!("{} target", marks.target));
    }
    if strip.limits.is_some() {
        parts.push(format!("{} limit", marks.limit));
    }
    if !strip.strays.is_empty() {
        parts.push(format!("{} stray", marks.stray));
    }
    if clipped {
        parts.push(format!("{} {} off the chart", marks.over, marks.under));
    }
    if !strip.unit.is_empty() {
        parts.push(format!("in {}", strip.unit));
    }
    parts
}

/// Parts set side by side, in as many lines as they need.
fn wrapped(parts: &[String], width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for part in parts {
        let line =
            lines.last_mut().filter(|line| line.width() + 2 + part.width() <= width || line.is_empty());
        match line {
            Some(line) if line.is_empty() => line.push_str(part),
            Some(line) => {
                line.push_str("  ");
                line.push_str(part);
            }
            None => lines.push(part.clone()),
        }
    }
    lines
}

/// The range that is shown.
pub(super) struct Scale {
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Scale {
    /// Takes in target and limits and the bulk of the fills; a fill far outside the bulk does not flatten the rest.
    pub(super) fn around(values: &[f64], target: Option<f64>, limits: Option<(f64, f64)>) -> Self {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share).round() as usize];
        let bulk = (at(0.75) - at(0.25)).max((at(0.9) - at(0.1)) / 2.0);
        let mut low = sorted[0].max(at(0.25) - 4.0 * bulk);
        let mut high = sorted[sorted.len() - 1].min(at(0.75) + 4.0 * bulk);
        let frame = (high - low).max(bulk);
        let near = |x: f64| frame <= 0.0 || (x >= low - 12.0 * frame && x <= high + 12.0 * frame);
        let wanted: Vec<f64> = target
            .into_iter()
            .chain(limits.into_iter().flat_map(|(a, b)| [a, b]))
            .filter(|x| x.is_finite() && near(*x))
            .collect();
        for x in wanted {
            low = low.min(x);
            high = high.max(x);
        }
        if high - low <= high.abs().max(low.abs()) * 1e-12 {
            let half = (high.abs() * 1e-3).max(0.5);
            (low, high) = (low - half, high + half);
        }
        Self { low, high }
    }

    /// The row of a value, top row 0; `Err(true)` above the chart, `Err(false)` below.
    fn row(&self, value: f64) -> Result<usize, bool> {
        let slack = (self.high - self.low) * 1e-9;
        if value > self.high + slack {
            return Err(true);
        }
        if value < self.low - slack {
            return Err(false);
        }
        let share = ((self.high - value) / (self.high - self.low)).clamp(0.0, 1.0);
        Ok((share * (ROWS - 1) as f64).round() as usize)
    }

    /// Labels of the rows: every other one.
    fn labels(&self) -> Vec<String> {
        let step = (self.high - self.low) / (ROWS - 1) as f64;
        let places = decimals(step);
        (0..ROWS)
            .map(|row| {
                if row % 2 == 0 {
                    format!("{:.places$}", self.high - step * row as f64)
                } else {
                    String::new()
                }
            })
            .collect()
    }
}

/// Decimals that tell one step from the next.
pub(super) fn decimals(step: f64) -> usize {
    if step > 0.0 && step.is_finite() { (1.0 - step.log10().floor()).clamp(0.0, 6.0) as usize } else { 0 }
}

/// Lines cut to the width, without control characters.
fn fitted(lines: &[String], width: usize) -> Vec<String> {
    let cut = |line: &String| {
        let mut short = String::new();
        for c in line.chars().filter(|c| !c.is_control()) {
            if short.width() + c.width().unwrap_or(0) > width {
                break;
            }
            short.push(c);
        }
        short
    };
    lines.iter().map(cut).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn light() -> Strip {
        Strip {
            values: vec![247.2, 247.0, 246.9, 247.4, 247.1, 247.3, 246.8, 247.2, 247.0, 247.1],
            target: Some(250.0),
            limits: Some((248.0, 252.0)),
            strays: Vec::new(),
            unit: "g".to_owned(),
        }
    }

    #[test]
    fn light_fills_lie_under_the_lower_limit() {
        for (width, unicode, limit) in [(40, false, '.'), (80, true, '┄')] {
            let lines = strip_chart(&light(), width, unicode);
            let fill = Marks::of(unicode).fill;
            let limits: Vec<usize> = (0..ROWS).filter(|i| lines[*i].matches(limit).count() > 5).collect();
            let first = (0..ROWS).find(|i| lines[*i].contains(fill)).unwrap();
            assert_eq!(limits.len(), 2, "{lines:#?}");
            assert!(first >= limits[1], "{lines:#?}");
            assert!(lines[ROWS..].concat().contains("target"));
        }
    }

    #[test]
    fn an_empty_bag_is_clipped_with_a_mark_and_the_rest_stays_readable() {
        let mut strip = light();
        strip.values[4] = 0.3;
        let lines = strip_chart(&strip, 40, false);
        assert!(lines[ROWS - 1].contains('v'), "{lines:#?}");
        assert!(lines[ROWS..].concat().contains("off the chart"));
        assert!(lines[0].contains("252"));
    }

    #[test]
    fn every_fill_is_counted_in_the_histogram() {
        let lines = histogram(&light(), 40, false);
        let count =
            |line: &String| line.rsplit(' ').next().and_then(|n| n.parse::<usize>().ok()).unwrap_or(0);
        assert_eq!(lines[..BINS].iter().map(count).sum::<usize>(), 10);
    }

    #[test]
    fn plain_pictures_hold_nothing_but_ascii() {
        let mut strip = light();
        strip.strays = vec![2];
        let all = [strip_chart(&strip, 60, false), histogram(&strip, 60, false)].concat().join("\n");
        assert!(all.is_ascii() && all.contains('X'));
    }

    proptest! {
        #[test]
        fn no_line_is_wider_than_asked(
            values in prop::collection::vec(prop_oneof![-1e9f64..1e9, 249.0f64..251.0, Just(f64::NAN), Just(250.0)], 0..200),
            target in prop::option::of(-1e6f64..1e6),
            low in 0.0f64..300.0,
            width in 0usize..120,
            unicode: bool,
            unit in "(g|kg|\\PC{0,90})",
        ) {
            let limits = Some((low, low + 2.0)).filter(|_| width % 2 == 0);
            let strip = Strip { values, target, limits, strays: vec![0, 3], unit };
            for line in [strip_chart(&strip, width, unicode), histogram(&strip, width, unicode)].concat() {
                prop_assert!(line.width() <= width, "{} in {width}", line);
                prop_assert!(!line.chars().any(char::is_control));
            }
        }
    }
}
