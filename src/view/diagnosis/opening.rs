//! The fixed opening: make safe, hold product, who and what, and the complaint in the caller's words.

use super::super::{Block, Page, Words};
use super::title;
use crate::casebook::{Case, Known, May, Whereabouts};
use crate::ids::FindingId;
use crate::knowledge::Knowledge;
use crate::walk::{Item, State};

pub(super) fn question(knowledge: &Knowledge, state: &State, item: Item) -> Page {
    let mut page = Page::default();
    let place = Item::ALL.iter().position(|known| *known == item).unwrap_or(0) + 1;
    page.text(Words::new().plain(format!("Opening {place} of {}. ", Item::ALL.len())).strong(asked(item)));
    match item {
        Item::Machine => page.push(Block::Numbered(
            state
                .machines
                .iter()
                .filter_map(|m| knowledge.machines.get(m))
                .map(|m| m.head.title.as_str().into())
                .collect(),
        )),
        Item::Who => page.push(Block::Numbered(WHO_WORDS.iter().map(|w| (*w).into()).collect())),
        Item::Held => {
            page.text("Hold everything filled since the last good check until a run of fills is judged.");
        }
        _ => {}
    }
    page.hint(hint(item));
    page
}

/// The same order as [`crate::walk::WHO`].
const WHO_WORDS: [&str; 5] = [
    "Nobody, or nobody knows",
    "An operator on the phone, not authorised to lock it out",
    "Somebody on the phone who is authorised to lock it out",
    "I am there, and authorised to lock it out",
    "I am there, authorised, and a qualified electrical person",
];

fn asked(item: Item) -> &'static str {
    match item {
        Item::Danger => "Is anyone hurt, or is the machine doing something unexpected?",
        Item::Held => "Is the product since the last good check on hold?",
        Item::Machine => "Which machine is it?",
        Item::Serial => "What is its serial number?",
        Item::Sealed => "Does the scale bear a legal-for-trade seal?",
        Item::Who => "Who is at the machine, and may they lock it out?",
        Item::EverRight => "Has it ever been right?",
        Item::Since => "Since when is it wrong, and what was touched last?",
        Item::DoingItNow => "Is it doing it now?",
        Item::Complaint => "What is wrong, in the caller's words?",
    }
}

fn hint(item: Item) -> &'static str {
    match item {
        Item::Danger => "n = no, or say what it is. ? skips, 'help' lists what works everywhere.",
        Item::Machine => "Type the number.",
        Item::Who => "Type 1 to 5, ? skips.",
        Item::Serial => "Type it. ? if nobody knows it.",
        Item::Since => "A few words, like 'since Monday, after the move'. ? skips.",
        Item::Complaint => "Like 'all our bags are light'.",
        _ => "y, n, or ? if nobody knows.",
    }
}

/// Short enough for a small screen: the first line and the last are what matters most.
pub(super) fn make_safe() -> Page {
    let mut page = Page::titled("Stop first, make safe");
    page.push(Block::Bullets(
        [
            "Press the stop. No good? Mains off at the disconnector, from outside.",
            "Smoke, sparks, a burnt smell, a tingle: hands off, mains off from outside, people away.",
            "Nobody reaches in. Keep clear of the outlet and the tray.",
            "If it can be done from outside: shut the product off and dump the air.",
            "A stop is not a lock. Somebody authorised locks and tags mains and air; until then somebody stands by.",
            "Leave it as it is. Tell the supervisor.",
            "Somebody hurt or caught: first the emergency number and first aid. Start nothing to free them.",
        ]
        .map(Words::from)
        .to_vec(),
    ));
    page.hint("Type y once it is stopped and safe. 'back' if nothing is dangerous.");
    page
}

/// An item of the opening with what was answered, in a line.
pub(super) fn answered(knowledge: &Knowledge, case: &Case, item: Item) -> String {
    let opening = &case.opening;
    let told = match item {
        Item::Danger => opening.danger.clone(),
        Item::Held => opening.held_since_last_good.clone(),
        Item::Machine => knowledge.machines.get(&case.machine).map(|m| m.head.title.clone()),
        Item::Serial => opening.serial.clone(),
        Item::Sealed => match case.scale.sealed {
            Known::Yes => Some("yes".to_owned()),
            Known::No => Some("no".to_owned()),
            Known::Unknown => None,
        },
        Item::Who => Some(who_words(case).to_owned()),
        Item::EverRight => opening.ever_right.clone(),
        Item::Since => opening.since.clone(),
        Item::DoingItNow => opening.doing_it_now.clone(),
        Item::Complaint => case.complaint.clone(),
    };
    format!("{} {}", asked(item), told.as_deref().unwrap_or("Not known."))
}

fn who_words(case: &Case) -> &'static str {
    let there = case.people.iter().filter(|p| p.at == Whereabouts::Machine);
    let may = |what| there.clone().any(|p| p.may.contains(&what));
    let phone = case.people.iter().any(|p| p.at == Whereabouts::Phone);
    match (there.clone().next().is_some(), phone, may(May::Isolate), may(May::Electrical)) {
        (false, ..) => WHO_WORDS[0],
        (_, true, false, _) => WHO_WORDS[1],
        (_, true, true, _) => WHO_WORDS[2],
        (_, false, _, false) => WHO_WORDS[3],
        (_, false, _, true) => WHO_WORDS[4],
    }
}

pub(super) fn symptoms(knowledge: &Knowledge, state: &State, list: &[FindingId]) -> Page {
    let mut page = Page::default();
    if let Some(complaint) = &state.case.complaint {
        page.quote("Complaint", complaint);
    }
    if list.is_empty() {
        page.text("Nothing in the book sounds like these words.");
        page.hint("Type 0 to go on.");
        return page;
    }
    let on_the_phone = state.case.people.iter().any(|p| p.at == Whereabouts::Phone);
    let say = if on_the_phone { "Say them to the caller; only" } else { "Only" };
    page.text(
        Words::new().strong("Which of these is it? ").plain(format!("{say} what is confirmed counts.")),
    );
    page.push(Block::Numbered(list.iter().map(|f| title(knowledge, f.as_str()).into()).collect()));
    page.hint("Type the numbers that fit, like 1 or 1,3. 0 if none does.");
    page
}
