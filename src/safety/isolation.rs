//! How a machine is made safe: a prompt in the order of 29 CFR 1910.147(d) and (e), computed from its energies.
//! It never replaces the site's own written procedure, and says so first.

use super::exposure::{Exposure, Exposures, words};
use std::fmt;

use serde::{Deserialize, Serialize};

words! {
    /// Every kind of energy that can hurt somebody at these machines.
    Energy {
        /// The main electrical supply.
        Mains = "mains",
        /// A second feed: heater, light, interlock supply from a neighbour, battery.
        SecondFeed = "second-feed",
        /// Charge left in drives and controllers.
        DriveCharge = "drive-charge",
        /// Compressed air, also trapped air.
        CompressedAir = "compressed-air",
        /// Raised hoppers, lids, hung product.
        Gravity = "gravity",
        /// Springs under load.
        Springs = "springs",
        /// The vibrating tray.
        TrayMotion = "tray-motion",
        /// The auger.
        Auger = "auger",
        /// The agitator.
        Agitator = "agitator",
        /// A flap or gate.
        FlapMotion = "flap-motion",
        /// Conveyors, baggers and other neighbours that move.
        NeighbourMotion = "neighbour-motion",
        /// A neighbour's hot parts.
        NeighbourHeat = "neighbour-heat",
        /// Dust extraction that can start or pull.
        DustExtraction = "dust-extraction",
        /// Dust that can burn as a cloud.
        ProductDust = "product-dust",
    }
}

impl Energy {
    /// The name as read in a sentence.
    fn spoken(self) -> String {
        self.as_str().replace('-', " ")
    }

    /// What is easily got wrong at its isolation point.
    pub fn trap(self) -> Option<&'static str> {
        Some(match self {
            Energy::Mains => "A push button, an emergency stop or a guard switch is not an isolator.",
            Energy::SecondFeed => "It stays live when the main one is off.",
            Energy::CompressedAir => "A regulator turned down is not shut. Clear people before the air goes.",
            Energy::Gravity => "Air or a winch holding a load up is not a block.",
            Energy::TrayMotion => "Nought on the dial is not off.",
            Energy::Agitator => "It can turn with the auger; lock both.",
            Energy::NeighbourMotion => "Agree with whoever runs it who holds it, and how.",
            Energy::DustExtraction => "Stop the fan only as the site's dust rules say.",
            Energy::ProductDust => {
                "No blowing, no sparks, no hot work; lift dust with a vacuum rated for it."
            }
            Energy::DriveCharge
            | Energy::Springs
            | Energy::Auger
            | Energy::FlapMotion
            | Energy::NeighbourHeat => return None,
        })
    }

    /// What is left once its point is locked, and how it is let out, blocked or held.
    pub fn left_over(self) -> Option<&'static str> {
        Some(match self {
            Energy::DriveCharge => "wait the time on the drive's label; a dark lamp proves nothing.",
            Energy::CompressedAir => "see it dumped, the gauge at zero; some can be trapped behind a valve.",
            Energy::Gravity => "lower or block what is raised; product that hangs can let go.",
            Energy::Springs => "let a spring down or hold it captive before you undo anything.",
            Energy::Auger | Energy::Agitator => "wait until it has run down and stands still.",
            Energy::FlapMotion => {
                "keep clear: it can move with the last of the air, even with the control off."
            }
            Energy::NeighbourMotion => "wait until it stands still.",
            Energy::NeighbourHeat => "let it cool, or keep it covered.",
            Energy::DustExtraction => "if the fan was stopped, wait until it has run down.",
            Energy::Mains | Energy::SecondFeed | Energy::TrayMotion | Energy::ProductDust => return None,
        })
    }
}

/// One energy of a machine and where it is shut off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EnergyPoint {
    /// Which energy.
    pub energy: Energy,
    /// The point that isolates it, in words.
    pub isolated_by: String,
}

/// Whether the scale can stay powered while every drive is locked off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ScaleSupply {
    /// Its own supply.
    Separate,
    /// The same as the drives'.
    Shared,
    /// Nobody knows yet.
    Unknown,
}

/// The prompt for one lockout.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Isolation {
    /// Asked before anything else; without a written procedure only checks from outside are left.
    pub first_question: &'static str,
    /// Steps up to the moment hands go in.
    pub before: Vec<String>,
    /// Steps from the end of the work to running again.
    pub after: Vec<String>,
}

impl Isolation {
    /// Works out the prompt for a machine's energies and the exposures of the work.
    pub fn of(energies: &[EnergyPoint], start_paths: &[String], exposures: &Exposures) -> Option<Self> {
        if !exposures.needs_isolation() {
            return None;
        }
        let has = |wanted: &[Energy]| energies.iter().any(|point| wanted.contains(&point.energy));
        let mut before: Vec<String> = [
            "Prepare: know each energy, its size and its isolation point.",
            "Visitor and site tell each other their procedures. Tell everybody whom the stop affects.",
            "Stop the machine the normal way, with product run out.",
        ]
        .map(str::to_owned)
        .to_vec();
        before.extend(points(energies));
        before.push(Self::SCALE_FEED.to_owned());
        if exposures.has(Exposure::AtScale) {
            before.push(
                "For a step that reads the scale, and for nothing else, its own feed alone may be on: switched on by whoever \
                 holds its key, off and locked again after. If it shares a supply with a drive, stop: test from \
                 outside."
                    .to_owned(),
            );
            before.push(
                "For work at the scale's terminals its own feed stays locked, and a qualified electrical person \
                 proves it dead."
                    .to_owned(),
            );
        }
        if !start_paths.is_empty() {
            before.push(format!("See that no start path is left: {}.", start_paths.join(", ")));
        }
        before.push(
            "Everybody who reaches in puts their own lock and tag on each point and keeps the key."
                .to_owned(),
        );
        before.push("Release what is stored, and look again before each step: it can come back.".to_owned());
        let left_over =
            |point: &EnergyPoint| point.energy.left_over().map(|text| sentence(&point.energy.spoken(), text));
        before.extend(energies.iter().filter_map(left_over));
        before.push(
            "Clear people, then try every start path. If anything moves, stop: nobody reaches in.".to_owned(),
        );
        if has(&[Energy::CompressedAir]) {
            before.push("With people still clear, read the air gauge at zero and stroke a valve.".to_owned());
        }
        before.push("Put the controls back to off.".to_owned());
        if has(&[Energy::Mains, Energy::SecondFeed, Energy::DriveCharge]) {
            before.push(
                "Before anybody touches a conductor: a qualified person proves it dead with a meter."
                    .to_owned(),
            );
        }
        if exposures.has(Exposure::Energised) {
            before.push(
                "A measurement that needs power is no part of this lockout. A qualified electrical person makes \
                 it under local rules and their own permit, nobody else."
                    .to_owned(),
            );
        }
        Some(Self {
            first_question: "Have you this machine's written isolation procedure, and does it agree? \
                             If there is none: stop, checks from outside only.",
            before,
            after: Self::HAND_BACK.iter().map(|text| (*text).to_owned()).collect(),
        })
    }

    /// The scale's own feed is one of the energies; which steps may have it on is said after it.
    const SCALE_FEED: &'static str = "Isolate the scale's own feed, where it has one.";

    /// From the end of the work to running again.
    pub const HAND_BACK: &'static [&'static str] = &[
        "Count tools and parts out.",
        "Put every guard back. If a guard or its switch is not as it was, keep it locked and call the maker.",
        "Where product was in reach, the site cleans, inspects and releases the line.",
        "See that people are clear.",
        "Each person takes off their own lock.",
        "Tell those affected, then restore from outside, one energy at a time: returning air can throw a part.",
        "To open it again, begin at the top: isolate, lock, try.",
    ];

    /// Asked between two steps of one lockout.
    pub const STILL_LOCKED: &'static str = "Still locked? Whose key?";
}

/// One line for each isolation point, with every energy that it shuts off and what is easily got wrong there.
fn points(energies: &[EnergyPoint]) -> Vec<String> {
    let mut points: Vec<(&str, Vec<Energy>)> = Vec::new();
    for EnergyPoint { energy, isolated_by } in energies {
        match points.iter_mut().find(|(point, _)| point == isolated_by) {
            Some((_, shut_off)) => shut_off.push(*energy),
            None => points.push((isolated_by, vec![*energy])),
        }
    }
    let line = |(point, shut_off): (&str, Vec<Energy>)| {
        let verb = match shut_off[0] {
            Energy::Springs => "Hold",
            Energy::ProductDust => "Mind",
            _ => "Isolate",
        };
        let names: Vec<_> = shut_off.iter().map(|energy| energy.spoken()).collect();
        let traps: String =
            shut_off.iter().filter_map(|e| e.trap()).map(|trap| [" ", trap].concat()).collect();
        format!("{verb} {}: {point}.{traps}", names.join(", "))
    };
    points.into_iter().map(line).collect()
}

/// 'Compressed air: see it dumped.'
fn sentence(name: &str, text: &str) -> String {
    let mut letters = name.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}: {text}", letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points() -> Vec<EnergyPoint> {
        Energy::ALL
            .iter()
            .map(|&energy| EnergyPoint { energy, isolated_by: format!("point of {energy}") })
            .collect()
    }

    #[test]
    fn every_energy_of_the_machine_has_its_line_and_trying_comes_after_locking() {
        let inside = Exposures::at(&super::super::Traits(vec![super::super::Trait::Guarded]), &[]);
        let isolation = Isolation::of(&points(), &["the start key".to_owned()], &inside).unwrap();
        for energy in Energy::ALL {
            assert!(isolation.before.iter().any(|s| s.contains(&format!("point of {energy}"))), "{energy}");
        }
        for energy in Energy::ALL {
            let left_over =
                energy.left_over().is_none_or(|text| isolation.before.iter().any(|s| s.ends_with(text)));
            assert!(left_over, "{energy}");
            assert!(energy.trap().or(energy.left_over()).is_some(), "{energy} is named and not treated");
        }
        let at = |word: &str| isolation.before.iter().position(|s| s.contains(word)).unwrap();
        assert!(at("Stop the machine") < at("Isolate mains"));
        assert!(at("no start path") < at("own lock"));
        assert!(at("own lock") < at("Release what is stored"));
        assert!(at("Release what is stored") < at("see it dumped"));
        assert!(at("see it dumped") < at("try every start path"));
        assert!(at("try every start path") < at("stroke a valve"));
    }

    #[test]
    fn energies_shut_off_at_one_point_share_one_line() {
        let point = |energy| EnergyPoint { energy, isolated_by: "the disconnector".to_owned() };
        let lines = super::points(&[point(Energy::Mains), point(Energy::TrayMotion)]);
        assert_eq!(lines.len(), 1, "{lines:?}");
        assert!(lines[0].starts_with("Isolate mains, tray motion: the disconnector."), "{lines:?}");
    }

    #[test]
    fn live_measuring_is_no_part_of_a_lockout() {
        let panel = Exposures::at(&super::super::Traits(vec![super::super::Trait::Live]), &[]);
        let isolation = Isolation::of(&points(), &[], &panel).unwrap();
        assert!(isolation.before.last().unwrap().contains("no part of this lockout"));
    }

    #[test]
    fn work_from_outside_needs_no_lockout() {
        assert!(Isolation::of(&points(), &[], &Exposures::outside()).is_none());
    }
}
