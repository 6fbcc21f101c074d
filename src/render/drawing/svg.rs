//! A sheet as SVG 1.1 text. Every text that enters goes through [`escaped`].

use std::fmt::Write as _;

use super::cut::Cut;
use super::layout::{Curve, Font, Line, Placed, Sheet, WIDTH};
use crate::render::html::escaped_lines;
use crate::view::words;

/// Corners of the boxes of causes, conditions and symptoms, so that kinds differ without colour.
const CORNERS: [f64; 3] = [0.0, 8.0, 16.0];
/// Length of an arrow's head.
const TIP: f64 = 8.0;

/// Line inside an element or an attribute.
pub fn escaped(text: &str) -> String {
    escaped_lines(text).replace('\n', " ")
}

/// The whole drawing, with a title and a description in words for those who cannot see it.
pub(super) fn written(cut: &Cut, sheet: &Sheet) -> String {
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" version=\"1.1\" width=\"{}mm\" height=\"{}mm\" viewBox=\"-2 0 {} {}\" \
         role=\"img\" aria-labelledby=\"name what\" font-family=\"Helvetica, Arial, 'Liberation Sans', sans-serif\">\n",
        WIDTH / 4.0,
        sheet.height / 4.0,
        WIDTH + 4.0,
        sheet.height
    );
    let _ = writeln!(out, "<title id=\"name\">{}</title>", escaped(&cut.picture.title));
    let _ = writeln!(out, "<desc id=\"what\">{}</desc>", escaped(&described(cut)));
    let _ =
        writeln!(out, "<rect x=\"-2\" width=\"{}\" height=\"{}\" fill=\"#fff\"/>", WIDTH + 4.0, sheet.height);
    sheet.curves.iter().for_each(|curve| link(&mut out, curve));
    sheet.boxes.iter().for_each(|placed| card(&mut out, placed));
    sheet.texts.iter().for_each(|line| text(&mut out, line));
    for (x, y, strength) in &sheet.legend {
        let _ = writeln!(out, "<path d=\"M{x:.1} {y:.1}h26\" {}/>", pen(*strength));
    }
    out.push_str("</svg>\n");
    out
}

/// Everything drawn, in sentences.
fn described(cut: &Cut) -> String {
    let picture = &cut.picture;
    let title = |(column, at): (usize, usize)| words::clause(&picture.columns[column].boxes[at].title);
    let mut all = vec![format!("{} and what stands around it.", picture.kind)];
    all.extend(picture.above.iter().map(|line| words::sentence(line)));
    for column in picture.columns.iter().filter(|c| !c.boxes.is_empty()) {
        let titles: Vec<String> = column.boxes.iter().map(|b| words::clause(&b.title)).collect();
        all.push(format!("{}: {}.", column.heading, titles.join("; ")));
    }
    for link in &picture.links {
        let from = words::sentence_start(&title(link.from));
        all.push(format!("{from} leads to {}: {}.", title(link.to), link.words));
    }
    all.push(words::sentence(&picture.below));
    all.join(" ")
}

/// Wider for stronger; the weakest are dashed, so that a poor printer still shows the difference.
fn pen(strength: f64) -> String {
    let width = 0.8 + 4.0 * strength.clamp(0.0, 1.0).powi(3);
    let dash = if strength < 0.15 { " stroke-dasharray=\"5 3\"" } else { "" };
    format!("fill=\"none\" stroke=\"#000\" stroke-width=\"{width:.2}\"{dash}")
}

fn link(out: &mut String, curve: &Curve) {
    let [first, .., last] = curve.points.as_slice() else { return };
    // The head points the way the line arrives.
    let back = if curve.bow > 0.0 || (curve.bow == 0.0 && last.0 < first.0) { TIP } else { -TIP };
    let end = (last.0 + back * 0.8, last.1);
    let mut path = format!("M{:.1} {:.1}", first.0, first.1);
    let points: Vec<_> = curve.points.iter().take(curve.points.len() - 1).copied().chain([end]).collect();
    for pair in points.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let half = (to.0 - from.0) / 2.0;
        let (out_x, in_x) = if curve.bow == 0.0 {
            (from.0 + half, to.0 - half)
        } else {
            (from.0 + curve.bow, to.0 + curve.bow)
        };
        let _ = write!(path, "C{out_x:.1} {:.1} {in_x:.1} {:.1} {:.1} {:.1}", from.1, to.1, to.0, to.1);
    }
    let _ = writeln!(out, "<path d=\"{path}\" {}/>", pen(curve.strength));
    let _ = writeln!(out, "<path d=\"M{:.1} {:.1}l{back:.1} -3.5v7z\" fill=\"#000\"/>", last.0, last.1);
}

fn card(out: &mut String, placed: &Placed) {
    let stroke = if placed.centre { 3.0 } else { 1.0 };
    let _ = writeln!(
        out,
        "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" rx=\"{}\" fill=\"#fff\" stroke=\"#000\" \
         stroke-width=\"{stroke}\"/>",
        placed.x, placed.y, placed.width, placed.height, CORNERS[placed.column]
    );
    placed.texts.iter().for_each(|line| text(out, line));
}

fn text(out: &mut String, line: &Line) {
    let Font { size, bold } = line.font;
    let weight = if bold { " font-weight=\"bold\"" } else { "" };
    let _ = writeln!(
        out,
        "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"{size}\"{weight}>{}</text>",
        line.x,
        line.y,
        escaped(&line.text)
    );
}
