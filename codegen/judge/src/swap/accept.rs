//! What counts as usable: the worst verdict, and whether what it takes for granted may be granted.

use std::fmt;

use super::Verdict;

/// What counts as usable. Without conditions granted a candidate is held to the verdict that it has if none of them
/// holds, so that nothing is usable on a fact that nobody stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Accept {
    /// The worst verdict that is usable.
    pub worst: Verdict,
    /// Whether conditions are granted.
    pub conditions: bool,
}

impl From<Verdict> for Accept {
    /// This verdict or a better one, no condition granted.
    fn from(worst: Verdict) -> Self {
        Self { worst, conditions: false }
    }
}

impl Accept {
    /// Whether a candidate is usable that has `verdict` with all its conditions granted and `worst_case` with none.
    #[must_use]
    pub fn takes(self, verdict: Verdict, worst_case: Verdict) -> bool {
        let held_to = if self.conditions { verdict } else { worst_case };
        held_to <= self.worst
    }

    /// The same with every condition granted.
    #[must_use]
    pub const fn granting(self) -> Self {
        Self { conditions: true, ..self }
    }
}

/// In words: `reconfigure or better, no condition granted`.
impl fmt::Display for Accept {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let or_better = if self.worst == Verdict::DropIn { "" } else { " or better" };
        let granted = if self.conditions { "conditions granted" } else { "no condition granted" };
        write!(f, "{}{or_better}, {granted}", self.worst)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Verdict::{DropIn, Reconfigure, Reject, Rework};

    #[test]
    fn a_condition_counts_as_failed_unless_conditions_are_granted() {
        let plain = Accept::from(DropIn);
        assert!(plain.takes(DropIn, DropIn) && !plain.takes(DropIn, Reconfigure));
        assert!(plain.granting().takes(DropIn, Reject) && !plain.granting().takes(Reconfigure, Reconfigure));
        // Whatever becomes of it, this one asks for new settings at most.
        assert!(Accept::from(Reconfigure).takes(DropIn, Reconfigure));
        assert!(!Accept::from(Reconfigure).takes(DropIn, Rework));
    }

    #[test]
    fn what_is_accepted_is_said_in_words() {
        assert_eq!(Accept::from(DropIn).to_string(), "drop-in, no condition granted");
        assert_eq!(Accept::from(Rework).granting().to_string(), "rework or better, conditions granted");
    }
}
