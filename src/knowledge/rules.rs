//! Rules on what fills may weigh: data, one a file, each of one market and one edition.

use super::entries::head;
use super::fields::{Fields, Reader};
use super::model::Head;
use super::yaml::Node;
use crate::diag::{Code, Diagnostic};
use crate::ids::RuleId;
use crate::units::Kind;

/// What a rule judges.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Judges {
    /// The average of packs against what the label says, few short by the limit, none by twice of it.
    Average,
    /// The average of packs against what the label says, none short by the limit.
    NetContents,
    /// Each fill's distance from the average of the fills, and the average's from the set weight.
    EachFill,
}

/// Where a rule is law.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Market {
    /// European Union and those who follow it.
    Eu,
    /// United States.
    Us,
    /// An international recommendation.
    Anywhere,
}

/// The words for what is judged.
pub const JUDGES: &[(&str, Judges)] =
    &[("average", Judges::Average), ("net-contents", Judges::NetContents), ("each-fill", Judges::EachFill)];
/// The words for markets.
pub const MARKETS: &[(&str, Market)] =
    &[("eu", Market::Eu), ("us", Market::Us), ("anywhere", Market::Anywhere)];
/// Per cent of what the label says.
pub(super) const PERCENT: (f64, f64) = (0.01, 50.0);
/// Of the limit of a fill, what the average may be off the set weight.
pub(super) const SETTING_SHARE: (f64, f64) = (0.01, 1.0);

/// A limit for weights up to a size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// The largest weight that it is for, grams; none for all above.
    pub up_to: Option<f64>,
    /// How much.
    pub size: Size,
}

/// How much a limit is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Size {
    /// A share of the weight.
    Share(f64),
    /// Grams.
    Grams(f64),
}

/// What the law of a market, or a standard, asks of fills.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Its id.
    pub id: RuleId,
    /// What every entry has.
    pub head: Head,
    /// Where it holds.
    pub market: Market,
    /// Which text of it.
    pub edition: String,
    /// What it judges.
    pub judges: Judges,
    /// Smallest and largest weight that it is for, grams.
    pub range: (f64, Option<f64>),
    /// By size, smallest first.
    pub limits: Vec<Limit>,
    /// A limit worked out of a share is rounded up to this, grams.
    pub rounds_up_to: Option<f64>,
    /// Of the limit of a fill, what the average may be off the set weight.
    pub setting_share: Option<f64>,
    /// What of it nobody has compared with the text itself; a verdict is an indication then.
    pub unconfirmed: Option<String>,
}

impl Rule {
    /// The limit for a weight in grams; none where the rule does not reach.
    pub fn limit(&self, weight: f64) -> Option<f64> {
        let (from, to) = self.range;
        if !(weight >= from && to.is_none_or(|to| weight <= to)) {
            return None;
        }
        let limit = self.limits.iter().find(|limit| limit.up_to.is_none_or(|most| weight <= most))?;
        Some(match limit.size {
            Size::Grams(grams) => grams,
            Size::Share(share) => self.rounded_up(share * weight),
        })
    }

    fn rounded_up(&self, grams: f64) -> f64 {
        // What is a whole number of steps but for the last digits is not rounded up once more.
        self.rounds_up_to.map_or(grams, |step| (grams / step - 1e-9).ceil() * step)
    }
}

/// A rule.
pub(super) fn rule(reader: &mut Reader<'_>, id: &str, node: &Node) -> Option<Rule> {
    let mut fields = Fields::open(reader, node)?;
    let head = head(reader, &mut fields);
    let market = fields.need(reader, "market").and_then(|n| reader.choice(n, MARKETS));
    let edition = fields.text(reader, "edition");
    let judges = fields.need(reader, "judges").and_then(|n| reader.choice(n, JUDGES));
    let from = fields.need(reader, "from").and_then(|n| reader.quantity(n, Kind::Mass));
    let to = fields.get("to").and_then(|n| reader.quantity(n, Kind::Mass));
    let limits: Vec<Limit> = fields.list(reader, "limits").iter().filter_map(|n| limit(reader, n)).collect();
    let rounds_up_to = fields.get("rounds_up_to").and_then(|n| reader.quantity(n, Kind::Mass));
    let setting_share =
        fields.get("setting_share").and_then(|n| reader.number(n, SETTING_SHARE.0, SETTING_SHARE.1));
    let unconfirmed = fields.maybe_text(reader, "unconfirmed");
    let place = fields.get("limits").map_or(fields.span, |n| n.span);
    fields.close(reader);
    let rising = limits.windows(2).all(|two| match (two[0].up_to, two[1].up_to) {
        (Some(one), Some(next)) => one < next,
        (one, _) => one.is_some(),
    });
    if limits.is_empty() || !rising {
        let message = "limits go from the smallest weight to the largest, the last perhaps without `up_to`";
        reader.push(Diagnostic::error(Code::OutOfRange, place, message));
        return None;
    }
    Some(Rule {
        id: id.into(),
        head: head?,
        market: market?,
        edition: edition?,
        judges: judges?,
        range: (from?, to),
        limits,
        rounds_up_to: rounds_up_to.filter(|step| *step > 0.0),
        setting_share,
        unconfirmed,
    })
}

fn limit(reader: &mut Reader<'_>, node: &Node) -> Option<Limit> {
    let mut fields = Fields::open(reader, node)?;
    let up_to = fields.get("up_to").and_then(|n| reader.quantity(n, Kind::Mass));
    let percent = fields.get("percent").and_then(|n| reader.number(n, PERCENT.0, PERCENT.1));
    let grams = fields.get("amount").and_then(|n| reader.quantity(n, Kind::Mass));
    let span = fields.span;
    fields.close(reader);
    match (percent, grams) {
        (Some(percent), None) => Some(Limit { up_to, size: Size::Share(percent / 100.0) }),
        (None, Some(grams)) if grams > 0.0 => Some(Limit { up_to, size: Size::Grams(grams) }),
        _ => {
            let message = "a limit is `percent` of the weight, or an `amount` above nought";
            reader.push(Diagnostic::error(Code::MissingKey, span, message));
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::knowledge::{Knowledge, Texts, load};

    fn built_in() -> Knowledge {
        load(&Texts::built_in()).0
    }

    // Figures of the tables: law, standard.
    #[test]
    fn what_a_pack_may_be_short_is_as_the_law_s_table_has_it() {
        let rule = &built_in().rules["eu-average-quantity"];
        let table = [
            (5.0, 0.5),
            (40.0, 3.6),
            (50.0, 4.5),
            (75.0, 4.5),
            (100.0, 4.5),
            (150.0, 6.8),
            (200.0, 9.0),
            (250.0, 9.0),
            (300.0, 9.0),
            (400.0, 12.0),
            (454.0, 13.7),
            (500.0, 15.0),
            (750.0, 15.0),
            (1000.0, 15.0),
            (5000.0, 75.0),
            (10_000.0, 150.0),
        ];
        for (label, short) in table {
            let limit = rule.limit(label).expect("within its range");
            assert!((limit - short).abs() < 1e-9, "{label}: {limit}");
        }
        assert_eq!((rule.limit(4.9), rule.limit(10_001.0), rule.limit(f64::NAN)), (None, None, None));
    }

    // Figures of the class table in its editions: law, standard.
    #[test]
    fn the_limits_of_a_filler_s_class_are_as_each_edition_has_them() {
        let knowledge = built_in();
        let fills = [40.0, 80.0, 150.0, 250.0, 400.0, 500.0, 800.0, 5000.0, 12_000.0, 25_000.0];
        let in_service = [0.72, 0.9, 1.35, 1.8, 2.4, 3.0, 3.0, 15.0, 30.0, 50.0];
        let off_set_weight = [0.18, 0.225, 0.3375, 0.45, 0.6, 0.75, 0.75, 3.75, 7.5, 12.5];
        for (id, share) in
            [("filler-class-in-use", 1.0), ("filler-class-new-1996", 0.7), ("filler-class-new", 0.8)]
        {
            let rule = &knowledge.rules[id];
            for ((fill, limit), off) in fills.iter().zip(in_service).zip(off_set_weight) {
                let found = rule.limit(*fill).expect("a limit") * 0.2;
                assert!((found - limit * share).abs() < 1e-9, "{id} {fill}: {found}");
                let setting = found * rule.setting_share.expect("a share");
                assert!((setting - off).abs() < 2e-3 * off, "{id} {fill}: {setting}");
            }
        }
        assert!(knowledge.rules["filler-class-new"].unconfirmed.is_some());
    }
}
