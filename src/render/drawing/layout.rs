//! Where everything stands on the page. Lengths are in quarter millimetres, so a sheet is 760 × 1020 at most.
//!
//! Text is measured by its number of characters and the width of a wide sans-serif font, since nobody knows which
//! font a reader has.

use unicode_width::UnicodeWidthStr;

use super::cut::{Cut, Middle};
use crate::view::picture::Card;

/// Width of the sheet: 190 mm.
pub(super) const WIDTH: f64 = 760.0;
/// Greatest height of the sheet: 255 mm.
pub(super) const HEIGHT: f64 = 1020.0;
const COLUMN: f64 = 214.0;
const GAP: f64 = (WIDTH - 3.0 * COLUMN) / 2.0;
/// From the edge of a box to its text.
const PAD: f64 = 7.0;
/// Between boxes.
const APART: f64 = 9.0;
/// Height of a lane, and what it keeps from its neighbours.
const LANE: f64 = 5.0;
const LEGEND: f64 = 44.0;

/// A size of text: height in the units of the sheet, and whether it is bold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Font {
    pub(super) size: f64,
    pub(super) bold: bool,
}

pub(super) const TITLE: Font = Font { size: 18.0, bold: true };
pub(super) const HEAD: Font = Font { size: 12.0, bold: true };
pub(super) const NAME: Font = Font { size: 11.5, bold: true };
pub(super) const NOTE: Font = Font { size: 10.0, bold: false };

impl Font {
    /// Width of a text in a wide sans-serif font.
    pub(super) fn width(self, text: &str) -> f64 {
        text.width() as f64 * self.size * if self.bold { 0.67 } else { 0.6 }
    }

    fn line(self) -> f64 {
        (self.size * 1.25).round()
    }

    /// The text in lines of this width, at most so many; what is cut off ends in '…'.
    fn wrapped(self, text: &str, width: f64, most: usize) -> Vec<String> {
        let columns = (width / self.width("x")).floor() as usize;
        let mut lines: Vec<String> =
            textwrap::wrap(text, columns).into_iter().map(std::borrow::Cow::into_owned).collect();
        if lines.len() > most {
            lines.truncate(most);
            if let Some(last) = lines.last_mut() {
                while last.width() >= columns {
                    last.pop();
                }
                last.push('…');
            }
        }
        lines
    }
}

/// A line of text: left end, base line, font.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Line {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) font: Font,
    pub(super) text: String,
}

/// A box with its text.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placed {
    pub(super) column: usize,
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) width: f64,
    pub(super) height: f64,
    pub(super) centre: bool,
    pub(super) texts: Vec<Line>,
}

/// A link: a row of points joined by curves that leave and arrive level.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Curve {
    pub(super) points: Vec<(f64, f64)>,
    pub(super) strength: f64,
    /// How far it bows out of its column, for a link inside one; 0 for a link between columns.
    pub(super) bow: f64,
}

/// Everything on the page.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Sheet {
    pub(super) boxes: Vec<Placed>,
    pub(super) curves: Vec<Curve>,
    pub(super) texts: Vec<Line>,
    /// Samples of strengths: left end, height, and the word.
    pub(super) legend: Vec<(f64, f64, f64)>,
    pub(super) height: f64,
}

pub(super) fn lay_out(cut: &Cut) -> Sheet {
    let mut sheet = Sheet::default();
    let top = header(&mut sheet, cut);
    let stacks = [0, 1, 2].map(|column| stack(cut, column));
    let tall = stacks.iter().map(|s| total(s)).fold(0.0, f64::max);
    let mut lanes = vec![0.0; cut.picture.links.len()];
    for (column, stack) in stacks.iter().enumerate() {
        place(&mut sheet, column, stack, (top, tall), &mut lanes);
        if cut.left_out[column] > 0 {
            let text = format!("and {} more, not drawn", cut.left_out[column]);
            sheet.texts.push(Line { x: left(column), y: top + tall + 16.0, font: NOTE, text });
        }
    }
    links(&mut sheet, cut, &lanes);
    let more = if cut.left_out.iter().any(|n| *n > 0) { 20.0 } else { 0.0 };
    footer(&mut sheet, cut, top + tall + more + 14.0);
    sheet
}

fn left(column: usize) -> f64 {
    column as f64 * (COLUMN + GAP)
}

/// Lines from the top down; gives where the next one begins.
fn lines(sheet: &mut Sheet, x: f64, y: f64, font: Font, texts: Vec<String>) -> f64 {
    let mut y = y;
    for text in texts {
        y += font.line();
        sheet.texts.push(Line { x, y: y - font.size * 0.25, font, text });
    }
    y
}

fn header(sheet: &mut Sheet, cut: &Cut) -> f64 {
    let picture = &cut.picture;
    let mut y = lines(sheet, 0.0, 0.0, TITLE, TITLE.wrapped(&picture.title, WIDTH, 3));
    let kind = format!("{} and what stands around it", picture.kind);
    y = lines(sheet, 0.0, y, HEAD, vec![kind]);
    for line in &picture.above {
        y = lines(sheet, 0.0, y, NOTE, NOTE.wrapped(line, WIDTH, 2));
    }
    y += 8.0;
    for (at, column) in picture.columns.iter().enumerate().filter(|(_, c)| !c.boxes.is_empty()) {
        lines(sheet, left(at), y, HEAD, vec![column.heading.to_owned()]);
    }
    y + HEAD.line() + 6.0
}

/// Something of a column: a box with its lines, or a lane.
enum Item {
    Card { at: usize, names: Vec<String>, notes: Vec<String>, centre: bool },
    Lane(usize),
}

impl Item {
    fn height(&self) -> f64 {
        match self {
            Item::Card { names, notes, .. } => {
                2.0 * PAD + names.len() as f64 * NAME.line() + notes.len() as f64 * NOTE.line()
            }
            Item::Lane(_) => LANE,
        }
    }
}

/// The items of a column from above, boxes by their place in it.
fn stack(cut: &Cut, column: usize) -> Vec<Item> {
    let boxes = &cut.picture.columns[column].boxes;
    if column == 1 {
        let item = |m: &Middle| match m {
            Middle::Card(at) => card(*at, &boxes[*at]),
            Middle::Lane(link) => Item::Lane(*link),
        };
        return cut.middle.iter().map(item).collect();
    }
    boxes.iter().enumerate().map(|(at, b)| card(at, b)).collect()
}

fn card(at: usize, card: &Card) -> Item {
    let width = COLUMN - 2.0 * PAD;
    let notes = card.notes.iter().flat_map(|note| NOTE.wrapped(note, width, 4));
    Item::Card { at, names: NAME.wrapped(&card.title, width, 4), notes: notes.collect(), centre: card.centre }
}

fn total(stack: &[Item]) -> f64 {
    let gaps = APART * stack.len().saturating_sub(1) as f64;
    stack.iter().map(Item::height).sum::<f64>() + gaps
}

/// Stands a column's items over each other, spread over the height of the tallest column.
fn place(sheet: &mut Sheet, column: usize, stack: &[Item], (top, tall): (f64, f64), lanes: &mut [f64]) {
    let spare = tall - total(stack);
    let more = (spare / (stack.len() + 1) as f64).min(30.0);
    let mut y = top + (spare - more * stack.len().saturating_sub(1) as f64) / 2.0;
    for item in stack {
        let height = item.height();
        match item {
            Item::Lane(link) => lanes[*link] = y + height / 2.0,
            Item::Card { names, notes, centre, .. } => {
                let mut at = y + PAD;
                let mut texts = Vec::new();
                let own = names.iter().map(|n| (NAME, n)).chain(notes.iter().map(|n| (NOTE, n)));
                for (font, text) in own {
                    at += font.line();
                    texts.push(Line {
                        x: left(column) + PAD,
                        y: at - font.size * 0.28,
                        font,
                        text: text.clone(),
                    });
                }
                sheet.boxes.push(Placed {
                    column,
                    x: left(column),
                    y,
                    width: COLUMN,
                    height,
                    centre: *centre,
                    texts,
                });
            }
        }
        y += height + APART + more;
    }
    // Links name boxes by their place in the column, which in the middle is not the order on the page.
    let first = sheet.boxes.len() - stack.iter().filter(|i| matches!(i, Item::Card { .. })).count();
    let order = stack.iter().filter_map(|i| if let Item::Card { at, .. } = i { Some(*at) } else { None });
    let mut placed: Vec<_> = order.zip(sheet.boxes.split_off(first)).collect();
    placed.sort_by_key(|(at, _)| *at);
    sheet.boxes.extend(placed.into_iter().map(|(_, b)| b));
}

/// The box of a column by its place.
fn box_of(sheet: &Sheet, (column, at): (usize, usize)) -> Option<&Placed> {
    sheet.boxes.iter().filter(|b| b.column == column).nth(at)
}

/// One end of a link: at which box, on which side (true for right), and how high the other end is.
type End = ((usize, usize), bool, f64);

fn links(sheet: &mut Sheet, cut: &Cut, lanes: &[f64]) {
    let middle = |b: Option<&Placed>| b.map_or(0.0, |b| b.y + b.height / 2.0);
    let mut ends: Vec<[End; 2]> = Vec::new();
    for (link, lane) in cut.picture.links.iter().zip(lanes) {
        let (from, to) = (middle(box_of(sheet, link.from)), middle(box_of(sheet, link.to)));
        let (from, to) = if *lane > 0.0 { (*lane, *lane) } else { (to, from) };
        let within = link.from.0 == link.to.0;
        let right = link.from.0 < link.to.0 || (within && link.from.0 < 2);
        ends.push([(link.from, right, from), (link.to, if within { right } else { !right }, to)]);
    }
    let curves: Vec<Curve> = cut
        .picture
        .links
        .iter()
        .enumerate()
        .map(|(i, link)| {
            let [start, end] = [0, 1].map(|side| port(sheet, &ends, (i, side)));
            let mut points = vec![start];
            if lanes[i] > 0.0 {
                points.extend([(left(1), lanes[i]), (left(1) + COLUMN, lanes[i])]);
            }
            points.push(end);
            let within = link.from.0 == link.to.0;
            let bow = match (within, ends[i][0].1) {
                (false, _) => 0.0,
                (true, true) => GAP * 0.75,
                (true, false) => -GAP * 0.75,
            };
            Curve { points, strength: link.strength, bow }
        })
        .collect();
    sheet.curves = curves;
}

/// Where a link touches its box: the ends on one side share its height in the order of what they lead to.
fn port(sheet: &Sheet, ends: &[[End; 2]], (link, side): (usize, usize)) -> (f64, f64) {
    let (place, right, _) = ends[link][side];
    let mut here: Vec<(f64, usize, usize)> = Vec::new();
    for (i, pair) in ends.iter().enumerate() {
        for (j, end) in pair.iter().enumerate().filter(|(_, e)| e.0 == place && e.1 == right) {
            here.push((end.2, i, j));
        }
    }
    here.sort_by(|a, b| a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    let nth = here.iter().position(|h| (h.1, h.2) == (link, side)).unwrap_or(0);
    let Some(own) = box_of(sheet, place) else { return (0.0, 0.0) };
    let y = own.y + own.height * (nth + 1) as f64 / (here.len() + 1) as f64;
    (own.x + if right { own.width } else { 0.0 }, y)
}

/// What the weights of lines mean, and where the rest can be read.
fn footer(sheet: &mut Sheet, cut: &Cut, y: f64) {
    let mut x = 0.0;
    let mut base = y + NOTE.line();
    let lead = "One leads to the other:".to_owned();
    x += NOTE.width(&lead) + 10.0;
    sheet.texts.push(Line { x: 0.0, y: base, font: NOTE, text: lead });
    for (word, strength) in &cut.picture.strengths {
        let wide = 34.0 + NOTE.width(word) + 16.0;
        if x + wide > WIDTH {
            (x, base) = (0.0, base + NOTE.line() + 2.0);
        }
        sheet.legend.push((x, base - 3.0, *strength));
        sheet.texts.push(Line { x: x + 34.0, y: base, font: NOTE, text: word.clone() });
        x += wide;
    }
    let below = NOTE.wrapped(&cut.picture.below, WIDTH, 2);
    let end = lines(sheet, 0.0, base + 4.0, NOTE, below);
    sheet.height = (end + 6.0).max(y + LEGEND).ceil();
}
