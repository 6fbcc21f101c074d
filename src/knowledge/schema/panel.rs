//! What a machine's panel takes and shows.

use serde_json::Value;

use super::super::panel::{GROUPS, SIGN_KINDS};
use super::super::set_up::TOLD_BY;
use super::{defined, group, list, may, need, of_table, text};

/// A setting.
pub(super) fn setting() -> Value {
    group(vec![
        need("id", "Its id.", defined("id")),
        need("group", "What it is for.", of_table(GROUPS)),
        need("title", "Its name.", text()),
        need("what_it_does", "For a newcomer.", text()),
        may("too_high", "What happens when it is too high.", text()),
        may("too_low", "What happens when it is too low.", text()),
        may("unit", "Its unit.", defined("unit")),
        may("usual", "What stands there usually.", text()),
        may("set_up", "How it is found when a product is set up.", set_up()),
        may("called_here", "What this site's panel calls it; filled in by the site.", text()),
    ])
}

fn set_up() -> Value {
    group(vec![
        need("told_by", "What tells where it should stand.", of_table(TOLD_BY)),
        may("from", "Lower end of what is usual.", defined("quantity")),
        may("to", "Upper end.", defined("quantity")),
        may("at_once", "Most that it is changed by at once.", defined("quantity")),
        may(
            "aims",
            "Seconds of fine feed, fine flow as a share of coarse, or a figure of its own.",
            defined("quantity"),
        ),
        may("check", "What it is looked at or measured by.", defined("a-check")),
        may("more_when", "The answer of the check that asks for more of it.", defined("id")),
        may("less_when", "The one that asks for less.", defined("id")),
        may("raise", "How it is made more, where that is not done at the panel.", defined("a-remedy")),
        may("lower", "How it is made less.", defined("a-remedy")),
    ])
}

/// A lamp or a reading.
pub(super) fn sign() -> Value {
    group(vec![
        need("id", "Its id.", defined("id")),
        need("kind", "Lit or dark, or a figure or word on the display.", of_table(SIGN_KINDS)),
        need("title", "Its name.", text()),
        need("what_it_says", "For a newcomer.", text()),
        need("when_wrong", "How it looks when something is wrong, and what that means.", text()),
        may("said", "How callers say it, in their own words.", list(&text())),
        may("called_here", "What this site's panel calls it; filled in by the site.", text()),
    ])
}
