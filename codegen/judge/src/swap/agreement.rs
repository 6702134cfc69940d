//! Whether rules and simulation came to one verdict, and what that is worth.

use std::borrow::Cow;
use std::collections::BTreeMap;

use pagewise_base::words::listed;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::Verdict;

/// Whether rules and simulation came to one verdict. As data: `true`, `false`, or `null` for [`Agreement::RulesAlone`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Agreement {
    /// Both came to the same verdict.
    Agree,
    /// They did not: a bug in Pagewise.
    Disagree,
    /// The run that would decide was spared, because nothing is promised of the part there: only the rules spoke.
    RulesAlone,
}

impl Agreement {
    /// Compares the verdict of the rules, as far as a simulation can show it, with that of the simulation, of which the
    /// deciding run was `spared` or not.
    #[must_use]
    pub fn between(rules: Verdict, simulation: Verdict, spared: bool) -> Self {
        match (rules == simulation, spared) {
            (false, _) => Self::Disagree,
            (true, true) => Self::RulesAlone,
            (true, false) => Self::Agree,
        }
    }

    /// Of two comparisons behind one judgement.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::Disagree, _) | (_, Self::Disagree) => Self::Disagree,
            (Self::RulesAlone, _) | (_, Self::RulesAlone) => Self::RulesAlone,
            (Self::Agree, Self::Agree) => Self::Agree,
        }
    }

    /// In words, for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Agree => "rules and simulation agree",
            Self::Disagree => "rules and simulation disagree",
            Self::RulesAlone => "rules alone",
        }
    }
}

/// What an agreement is worth.
const COVERS: &str = "Both judge addresses, straps, pages, timing, SCL, supply and WP; what no run shows is judged by rules \
                      alone: packages and their pins, temperature, pull-ups, endurance, retention and second regions";

/// How many judgements are agreed on.
#[derive(Debug, Clone, Default, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Tally {
    /// Rules and simulation come to one verdict.
    pub agree: usize,
    /// They do not; any at all is a bug in Pagewise.
    pub disagree: usize,
    /// Only the rules spoke.
    pub rules_alone: usize,
    /// Verdicts that rest on what no run shows, by the rule that decided.
    pub decided_by_rules: BTreeMap<String, usize>,
}

impl<R: AsRef<str>> FromIterator<(Agreement, Vec<R>)> for Tally {
    fn from_iter<I: IntoIterator<Item = (Agreement, Vec<R>)>>(all: I) -> Self {
        let mut tally = Self::default();
        for (agreement, decided) in all {
            for rule in decided {
                *tally.decided_by_rules.entry(rule.as_ref().to_owned()).or_default() += 1;
            }
            match agreement {
                Agreement::Agree => tally.agree += 1,
                Agreement::Disagree => tally.disagree += 1,
                Agreement::RulesAlone => tally.rules_alone += 1,
            }
        }
        tally
    }
}

impl Tally {
    /// In sentences: on how many they agree, how many rules alone decided, and what they agree about.
    #[must_use]
    pub fn sentence(&self) -> String {
        let both = self.agree + self.disagree;
        let bug = if self.disagree == 0 { "" } else { ": a disagreement is a bug in Pagewise" };
        let alone = match self.rules_alone {
            0 => String::new(),
            count => format!(" Rules alone decided {count} more, outside what the part's sheet promises."),
        };
        let decided = self.decided_by_rules.iter().map(|(rule, count)| format!("{rule} {count}"));
        let decided = match listed(decided) {
            none if none.is_empty() => ", which decided no verdict here".to_owned(),
            decided => format!(" (verdicts that they decided here: {decided})"),
        };
        format!("Rules and simulation agree on {} of {both}{bug}.{alone} {COVERS}{decided}.", self.agree)
    }
}

impl Serialize for Agreement {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let agree = match self {
            Self::Agree => Some(true),
            Self::Disagree => Some(false),
            Self::RulesAlone => None,
        };
        agree.serialize(serializer)
    }
}

/// True, false, or null where rules alone decided.
impl JsonSchema for Agreement {
    fn schema_name() -> Cow<'static, str> {
        "Agreement".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        Option::<bool>::json_schema(generator)
    }
}

impl<'de> Deserialize<'de> for Agreement {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Ok(match Option::<bool>::deserialize(deserializer)? {
            Some(true) => Self::Agree,
            Some(false) => Self::Disagree,
            None => Self::RulesAlone,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spared_run_agrees_with_nobody_and_hides_no_disagreement() {
        use Verdict::{Reject, Rework};
        assert_eq!(Agreement::between(Rework, Rework, false), Agreement::Agree);
        assert_eq!(Agreement::between(Rework, Rework, true), Agreement::RulesAlone);
        assert_eq!(Agreement::between(Rework, Reject, true), Agreement::Disagree);
    }

    #[test]
    fn what_rules_alone_decided_leaves_the_count_of_agreements() {
        use Agreement::{Agree, Disagree, RulesAlone};
        let told = |all: &[Agreement], rules: &[&'static str]| {
            let tally: Tally = all.iter().map(|agreement| (*agreement, rules.to_vec())).collect();
            tally.sentence()
        };
        let none = ", which decided no verdict here.";
        assert_eq!(told(&[Agree, Agree], &[]), format!("Rules and simulation agree on 2 of 2. {COVERS}{none}"));
        assert_eq!(
            told(&[Agree, RulesAlone], &["footprint", "temperature"]),
            format!(
                "Rules and simulation agree on 1 of 1. Rules alone decided 1 more, outside what the part's sheet \
                 promises. {COVERS} (verdicts that they decided here: footprint 2, temperature 2)."
            )
        );
        assert_eq!(
            told(&[Agree, Disagree], &[]),
            format!("Rules and simulation agree on 1 of 2: a disagreement is a bug in Pagewise. {COVERS}{none}")
        );
    }

    #[test]
    fn agreement_reads_back_as_written() {
        for (agreement, text) in
            [(Agreement::Agree, "true"), (Agreement::Disagree, "false"), (Agreement::RulesAlone, "null")]
        {
            assert_eq!(serde_json::to_string(&agreement).unwrap(), text);
            assert_eq!(serde_json::from_str::<Agreement>(text).unwrap(), agreement);
        }
    }
}
