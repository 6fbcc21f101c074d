//! What of a picture is drawn: so many boxes a column, in an order that keeps links from crossing much.

use crate::view::picture::{Arrow, Card, Picture};

/// More boxes in a column are not taken in at a glance.
pub(super) const MOST: usize = 14;

/// A picture cut to what is drawn, its boxes in their order on the page.
#[derive(Debug, Clone)]
pub(super) struct Cut {
    pub(super) picture: Picture,
    /// How many boxes of each column are not drawn.
    pub(super) left_out: [usize; 3],
    /// What stands in the middle column from above: conditions, and lanes for links that skip it.
    pub(super) middle: Vec<Middle>,
}

/// A place in the middle column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Middle {
    /// A condition, by its place among the boxes.
    Card(usize),
    /// A lane for a link, by its place among the links.
    Lane(usize),
}

/// Keeps the first so many boxes of each column, and of the causes those that a link still holds.
pub(super) fn cut(picture: &Picture, most: usize) -> Cut {
    let mut kept: [Vec<usize>; 3] =
        [0, 1, 2].map(|c| (0..picture.columns[c].boxes.len().min(most)).collect());
    let links = |kept: &[Vec<usize>; 3]| -> Vec<Arrow> {
        let is_kept = |(column, at): (usize, usize)| kept[column].contains(&at);
        picture.links.iter().filter(|l| is_kept(l.from) && is_kept(l.to)).cloned().collect()
    };
    let found = links(&kept);
    kept[0].retain(|at| picture.columns[0].boxes[*at].centre || found.iter().any(|l| l.from == (0, *at)));
    let left_out = [0, 1, 2].map(|c| picture.columns[c].boxes.len() - kept[c].len());
    let held = links(&kept);
    let middle = order(&mut kept, &held);
    let mut drawn = picture.clone();
    drawn.links = links(&kept);
    for link in &mut drawn.links {
        for end in [&mut link.from, &mut link.to] {
            end.1 = kept[end.0].iter().position(|at| *at == end.1).unwrap_or(0);
        }
    }
    for (column, kept) in drawn.columns.iter_mut().zip(&kept) {
        column.boxes = kept.iter().map(|at| column.boxes[*at].clone()).collect::<Vec<Card>>();
    }
    let card = |at: usize| kept[1].iter().position(|k| *k == at).unwrap_or(0);
    let middle =
        middle.into_iter().map(|m| if let Middle::Card(at) = m { Middle::Card(card(at)) } else { m });
    Cut { left_out, middle: middle.collect(), picture: drawn }
}

/// Puts each box near the middle of what it is linked to, twice from left to right; ties stay as they are.
fn order(kept: &mut [Vec<usize>; 3], links: &[Arrow]) -> Vec<Middle> {
    let skips = |l: &Arrow| l.from.0 == 0 && l.to.0 == 2;
    let lanes = links.iter().enumerate().filter(|(_, l)| skips(l)).map(|(i, _)| Middle::Lane(i));
    let mut middle: Vec<Middle> = kept[1].iter().map(|at| Middle::Card(*at)).chain(lanes).collect();
    for _ in 0..2 {
        let place = |kept: &[usize], at: usize| kept.iter().position(|k| *k == at).map(|p| p as f64);
        let (causes, symptoms) = (kept[0].clone(), kept[2].clone());
        sort_by_mean(&mut middle, |item| match *item {
            Middle::Lane(i) => vec![place(&causes, links[i].from.1), place(&symptoms, links[i].to.1)],
            Middle::Card(at) => links
                .iter()
                .filter_map(|l| match (l.from, l.to) {
                    ((0, cause), (1, to)) if to == at => Some(place(&causes, cause)),
                    ((1, from), (2, symptom)) if from == at => Some(place(&symptoms, symptom)),
                    _ => None,
                })
                .collect(),
        });
        let spot = |link: usize, card: usize| {
            let is = |m: &Middle| *m == Middle::Lane(link) || *m == Middle::Card(card);
            let lane = skips(&links[link]);
            middle.iter().position(|m| if lane { *m == Middle::Lane(link) } else { is(m) }).map(|p| p as f64)
        };
        let of = |side: usize, at: usize| -> Vec<Option<f64>> {
            let touching = links.iter().enumerate().filter(|(_, l)| {
                let end = if side == 0 { l.from } else { l.to };
                end == (side, at)
            });
            touching.map(|(i, l)| spot(i, if side == 0 { l.to.1 } else { l.from.1 })).collect()
        };
        sort_by_mean(&mut kept[0], |at| of(0, *at));
        sort_by_mean(&mut kept[2], |at| of(2, *at));
    }
    middle
}

fn sort_by_mean<T: Clone>(all: &mut Vec<T>, places: impl Fn(&T) -> Vec<Option<f64>>) {
    let count = all.len() as f64;
    let mut keyed: Vec<(f64, T)> = all
        .iter()
        .enumerate()
        .map(|(own, item)| {
            let near: Vec<f64> = places(item).into_iter().flatten().collect();
            let mean = near.iter().sum::<f64>() / near.len() as f64;
            (if near.is_empty() { own as f64 / count.max(1.0) } else { mean }, item.clone())
        })
        .collect();
    keyed.sort_by(|a, b| a.0.total_cmp(&b.0));
    *all = keyed.into_iter().map(|(_, item)| item).collect();
}
