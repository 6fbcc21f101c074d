//! A run of fills as SVG: in order against target and limits, and beside it how often each weight came.

use std::fmt::Write as _;

use super::escaped;
use crate::render::plot::{Scale, decimals};
use crate::view::{Plot, words};

/// Size of the drawing, in its own units; four of them are a millimetre.
const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 240.0;
/// Where the fills are drawn: left, right, top, bottom.
const FIELD: (f64, f64, f64, f64) = (64.0, 480.0, 12.0, 204.0);
/// Where the bars begin, and the length of the longest.
const BARS: (f64, f64) = (496.0, 136.0);
/// Bars from bottom to top.
const BINS: usize = 16;
/// Labels on the axis.
const LABELS: usize = 5;

/// The drawing, with a title and a description in words for those who cannot see it. Nothing but the words when no fill
/// is a number.
pub fn run(plot: &Plot) -> String {
    let values: Vec<(usize, f64)> =
        plot.values.iter().copied().enumerate().filter(|(_, v)| v.is_finite()).collect();
    let what = escaped(&described(plot, values.len()));
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" aria-label=\"{what}\" \
         font-family=\"Helvetica, Arial, 'Liberation Sans', sans-serif\" font-size=\"11\">\n<desc>{what}</desc>\n"
    );
    if !values.is_empty() {
        let numbers: Vec<f64> = values.iter().map(|(_, v)| *v).collect();
        let scale = Scale::around(&numbers, plot.target, plot.limits);
        axis(&mut out, plot, &scale, plot.values.len());
        values.iter().for_each(|(i, v)| mark(&mut out, plot, &scale, *i, *v));
        bars(&mut out, &scale, &numbers);
    }
    out.push_str("</svg>\n");
    out
}

fn described(plot: &Plot, fills: usize) -> String {
    let unit = &plot.unit;
    let mut all = format!("{} in order", words::sentence_start(&words::count(fills, "fill", "fills")));
    if let Some(target) = plot.target.filter(|t| t.is_finite()) {
        let _ = write!(all, ", target {} {unit}", words::rounded(target, None));
    }
    if let Some((low, high)) = plot.limits {
        let _ =
            write!(all, ", limits {} and {} {unit}", words::rounded(low, None), words::rounded(high, None));
    }
    if !plot.strays.is_empty() {
        let places: Vec<String> = plot.strays.iter().take(20).map(|i| (i + 1).to_string()).collect();
        let _ = write!(all, "; strays at {}", words::and(&places));
    }
    all.push('.');
    all
}

/// Height of a value, inside the field.
fn height(scale: &Scale, value: f64) -> f64 {
    let share = ((value - scale.low) / (scale.high - scale.low)).clamp(0.0, 1.0);
    FIELD.3 - share * (FIELD.3 - FIELD.2)
}

fn across(place: usize, fills: usize) -> f64 {
    let room = FIELD.1 - FIELD.0 - 12.0;
    FIELD.0 + 6.0 + room * if fills > 1 { place as f64 / (fills - 1) as f64 } else { 0.5 }
}

fn axis(out: &mut String, plot: &Plot, scale: &Scale, fills: usize) {
    let (left, right, top, bottom) = FIELD;
    let _ = writeln!(out, "<path d=\"M{left} {top}V{bottom}H{right}\" fill=\"none\" stroke=\"#000\"/>");
    let step = (scale.high - scale.low) / (LABELS - 1) as f64;
    let places = decimals(step);
    for i in 0..LABELS {
        let value = scale.low + step * i as f64;
        let y = height(scale, value);
        let _ = writeln!(out, "<path d=\"M{left} {y:.1}h-4\" stroke=\"#000\"/>");
        let label = format!("{value:.places$}");
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{label}</text>",
            left - 7.0,
            y + 4.0
        );
    }
    let mut line = |value: f64, name: &str, pen: &str| {
        if value.is_finite() && (scale.low..=scale.high).contains(&value) {
            let y = height(scale, value);
            let _ = writeln!(out, "<path d=\"M{left} {y:.1}H{right}\" stroke=\"#000\" {pen}/>");
            let _ = writeln!(
                out,
                "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{name}</text>",
                right - 2.0,
                y - 3.0
            );
        }
    };
    if let Some(target) = plot.target {
        line(target, "target", "stroke-width=\"1.6\"");
    }
    if let Some((low, high)) = plot.limits {
        line(low, "limit", "stroke-dasharray=\"6 4\"");
        line(high, "limit", "stroke-dasharray=\"6 4\"");
    }
    let unit = escaped(&plot.unit);
    let _ = writeln!(out, "<text x=\"4\" y=\"{:.1}\">{unit}</text>", bottom + 28.0);
    let _ = writeln!(out, "<text x=\"{:.1}\" y=\"{:.1}\">1</text>", across(0, fills) - 3.0, bottom + 14.0);
    let _ = writeln!(
        out,
        "<text x=\"{right}\" y=\"{:.1}\" text-anchor=\"end\">fill {fills}</text>",
        bottom + 14.0
    );
}

/// A fill: a dot, a larger open square for a stray, a triangle where it lies off the chart.
fn mark(out: &mut String, plot: &Plot, scale: &Scale, place: usize, value: f64) {
    let (x, y) = (across(place, plot.values.len()), height(scale, value));
    let _ = if value > scale.high {
        writeln!(out, "<path d=\"M{x:.1} {y:.1}l-5 9h10z\"/>")
    } else if value < scale.low {
        writeln!(out, "<path d=\"M{x:.1} {y:.1}l-5 -9h10z\"/>")
    } else if plot.strays.contains(&place) {
        writeln!(
            out,
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"8\" height=\"8\" fill=\"#fff\" stroke=\"#000\" stroke-width=\"1.6\"/>",
            x - 4.0,
            y - 4.0
        )
    } else {
        writeln!(out, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"2.6\"/>")
    };
}

/// How often each weight came, beside the fills on the same scale.
fn bars(out: &mut String, scale: &Scale, values: &[f64]) {
    let mut counts = [0_usize; BINS];
    for value in values {
        let share = ((value - scale.low) / (scale.high - scale.low)).clamp(0.0, 1.0);
        counts[((share * BINS as f64) as usize).min(BINS - 1)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(0).max(1) as f64;
    let room = (FIELD.3 - FIELD.2) / BINS as f64;
    for (i, count) in counts.into_iter().enumerate().filter(|(_, count)| *count > 0) {
        let _ = writeln!(
            out,
            "<rect x=\"{}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"#999\" stroke=\"#000\" stroke-width=\"0.5\"/>",
            BARS.0,
            FIELD.3 - room * (i + 1) as f64,
            BARS.1 * count as f64 / most,
            room
        );
    }
    let _ =
        writeln!(out, "<text x=\"{}\" y=\"{:.1}\">how often, up to {most}</text>", BARS.0, FIELD.3 + 14.0);
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn light() -> Plot {
        Plot {
            values: vec![247.2, 247.0, 0.3, 247.4, 247.1, 247.3, 246.8, 247.2, 247.0, 247.1],
            target: Some(250.0),
            limits: Some((248.0, 252.0)),
            strays: vec![2],
            unit: "g".to_owned(),
        }
    }

    #[test]
    fn it_says_in_words_what_it_shows_and_marks_what_is_off_the_chart() {
        let drawn = run(&light());
        assert!(
            drawn.contains("10 fills in order, target 250 g, limits 248 and 252 g; strays at 3."),
            "{drawn}"
        );
        assert_eq!((drawn.matches("<circle").count(), drawn.matches("-9h10z").count()), (9, 1), "{drawn}");
        assert_eq!((drawn.matches(">limit<").count(), drawn.matches(">target<").count()), (2, 1));
    }

    proptest! {
        #[test]
        fn any_run_gives_a_drawing_with_every_fill_and_no_figure_that_is_none(
            values in prop::collection::vec(prop_oneof![-1e9f64..1e9, 249.0f64..251.0, Just(f64::NAN), Just(250.0)], 0..60),
            target in prop::option::of(-1e6f64..1e6),
            low in 0.0f64..300.0,
            unit in "(g|kg|<&\"|\\PC{0,20})",
        ) {
            let fills = values.iter().filter(|v| v.is_finite()).count();
            let plot = Plot { values, target, limits: Some((low, low + 2.0)), strays: vec![0, 3], unit };
            let drawn = run(&plot);
            let shown = drawn.matches("<circle").count() + drawn.matches("h10z").count() + drawn.matches("width=\"8\"").count();
            prop_assert_eq!(shown, fills);
            prop_assert!(!drawn.contains("NaN") && !drawn.contains("inf"), "{}", drawn);
            prop_assert!(!drawn.contains("<&"), "{}", drawn);
        }
    }
}
