//! Where the person's body is while doing a step: a set, computed from the place.

use std::fmt;

use serde::{Deserialize, Serialize};

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        pub enum $name { $($(#[$vdoc])* #[serde(rename = $word)] $variant),+ }

        impl $name {
            /// All of them, in order.
            pub const ALL: &'static [$name] = &[$($name::$variant),+];

            /// The word in files and on screens.
            pub fn as_str(self) -> &'static str {
                match self { $($name::$variant => $word),+ }
            }

            /// Finds one by its word.
            pub fn find(word: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|known| known.as_str() == word)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(self.as_str())
            }
        }
    };
}
pub(super) use words;

words! {
    /// Where the body is, least to most.
    Exposure {
        /// Outside all guards, machine standing.
        Outside = "outside",
        /// Guards closed, machine cycling.
        Running = "running",
        /// Hands at the weigh hopper or pan with the scale powered.
        AtScale = "at-scale",
        /// Guards opened: isolate first.
        Inside = "inside",
        /// Live parts over 50 V AC or 60 V DC within reach: a qualified electrical person only.
        Energised = "energised",
        /// Under or beside a load being lifted.
        Lifting = "lifting",
        /// Off the ground.
        Height = "height",
        /// At hot parts.
        Hot = "hot",
    }
}

words! {
    /// What a machine says about one of its places.
    Trait {
        /// The machine cycles while one is there, guards closed.
        Running = "running",
        /// Behind a guard.
        Guarded = "guarded",
        /// At the weigh hopper or pan.
        Scale = "scale",
        /// Off the ground.
        Height = "height",
        /// Hot parts.
        Hot = "hot",
        /// Live parts within reach.
        Live = "live",
        /// A load is handled.
        Heavy = "heavy",
    }
}

/// The traits of a place.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Traits(pub Vec<Trait>);

/// A set of exposures, never empty: `outside` when nothing else is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Exposures(Vec<Exposure>);

impl Exposures {
    /// What a place with these traits exposes a person to, raised by what the author adds.
    pub fn at(traits: &Traits, raised: &[Exposure]) -> Self {
        let of_trait = |t: &Trait| match t {
            Trait::Running => Exposure::Running,
            Trait::Guarded => Exposure::Inside,
            Trait::Scale => Exposure::AtScale,
            Trait::Height => Exposure::Height,
            Trait::Hot => Exposure::Hot,
            Trait::Live => Exposure::Energised,
            Trait::Heavy => Exposure::Lifting,
        };
        Self::collect(traits.0.iter().map(of_trait).chain(raised.iter().copied()))
    }

    /// Outside only.
    pub fn outside() -> Self {
        Self(vec![Exposure::Outside])
    }

    fn collect(all: impl Iterator<Item = Exposure>) -> Self {
        let mut set: Vec<_> = all.filter(|e| *e != Exposure::Outside).collect();
        set.sort_unstable();
        set.dedup();
        if set.is_empty() { Self::outside() } else { Self(set) }
    }

    /// Both together.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        Self::collect(self.0.iter().chain(&other.0).copied())
    }

    /// The exposures in order.
    pub fn iter(&self) -> impl Iterator<Item = Exposure> + '_ {
        self.0.iter().copied()
    }

    /// Whether this one is among them.
    pub fn has(&self, exposure: Exposure) -> bool {
        self.0.contains(&exposure)
    }

    /// Anything but outside and running.
    pub fn hands_on(&self) -> bool {
        self.0.iter().any(|e| !matches!(e, Exposure::Outside | Exposure::Running))
    }

    /// Whether the machine's energies must be locked off first.
    pub fn needs_isolation(&self) -> bool {
        self.0.iter().any(|e| matches!(e, Exposure::Inside | Exposure::AtScale | Exposure::Energised))
    }
}

impl fmt::Display for Exposures {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words: Vec<_> = self.0.iter().map(|e| e.as_str()).collect();
        f.write_str(&words.join(", "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_author_may_raise_an_exposure_and_never_lower_it() {
        let pan = Traits(vec![Trait::Guarded, Trait::Scale]);
        assert_eq!(Exposures::at(&pan, &[Exposure::Outside]).to_string(), "at-scale, inside");
        assert_eq!(Exposures::at(&pan, &[Exposure::Energised]).to_string(), "at-scale, inside, energised");
        assert!(!Exposures::at(&Traits(vec![Trait::Running]), &[]).hands_on());
        assert_eq!(Exposures::at(&Traits::default(), &[]), Exposures::outside());
    }
}
