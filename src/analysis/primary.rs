//! The comparison that decides: its verdicts, and whether they stand however lost, censored and
//! doubtful pieces are counted (practice.md §3.7, §1.4, §4).

use serde::{Deserialize, Serialize};

use crate::analysis::adjustment;
use crate::analysis::arm::Counting;
use crate::analysis::comparison::{Effect, Member};
use crate::analysis::family::{Against, Family, Question, family, reference};
use crate::analysis::outlier;
use crate::analysis::piece::{Flag, Piece};
use crate::analysis::verdict::Verdict;
use crate::study::plan::{OutlierRule, Plan};

/// The primary family with its verdicts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Primary {
    /// The comparisons as shown.
    pub family: Family,
    /// The margin, in % of the reference or in percentage points.
    pub margin_percent: f64,
    /// One for each member.
    pub judged: Vec<Judged>,
    /// The same comparisons with some pieces treated otherwise.
    pub variants: Vec<Variant>,
}

/// What may be said about one condition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    /// The verdict; `None` when there is no interval.
    pub verdict: Option<Verdict>,
    /// The verdict under each counting, the shown one first; one only when nothing is counted.
    pub countings: Vec<Counted>,
    /// The counting that decides, when the word differs: the shown one and the other one.
    pub decides: Option<Decides>,
}

/// One counting's result.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Counted {
    /// Which.
    pub counting: Counting,
    /// Pieces with a value under it.
    pub pieces: usize,
    /// Its interval.
    pub effect: Option<Effect>,
    /// Its verdict.
    pub verdict: Option<Verdict>,
}

/// Two countings that say different things.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Decides {
    /// The counting that leaves pieces out.
    pub excluded: Counting,
    /// The counting that counts them.
    pub counted: Counting,
    /// Whether even the word differs (then the verdict is not settled), or only whether the change
    /// is beyond the margin.
    pub is_word: bool,
}

/// Why pieces are treated otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VariantKind {
    /// Without the adjustment that the plan asks for.
    Unadjusted,
    /// Without the pieces of holders that something happened to.
    WithoutIncidents,
    /// With the values as they were before somebody changed them knowing the group.
    WithoutKnowing,
    /// Without the values flagged by the plan's outlier rule.
    WithoutFlagged,
    /// Without pieces taken in outside the window of the stage.
    WithoutOutsideWindow,
    /// Without the spares that took the place of invalid tests.
    WithoutRetests,
    /// Without loads read outside their calibration: of its days, or of the range of its class.
    WithoutOutsideCalibration,
}

impl VariantKind {
    /// In words.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Unadjusted => "without the adjustment",
            Self::WithoutIncidents => "without pieces of holders that something happened to",
            Self::WithoutKnowing => {
                "with values as they were before changes made knowing the group"
            }
            Self::WithoutFlagged => "without values flagged by the outlier rule",
            Self::WithoutOutsideWindow => "without pieces taken in outside the stage's window",
            Self::WithoutRetests => "without the spares in the place of invalid tests",
            Self::WithoutOutsideCalibration => {
                "without loads that the calibration does not cover, by its days or its range"
            }
        }
    }
}

/// The primary family with some pieces treated otherwise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Variant {
    /// How.
    pub kind: VariantKind,
    /// How many pieces that concerns.
    pub pieces: usize,
    /// The comparisons.
    pub family: Family,
    /// One verdict for each member.
    pub verdicts: Vec<Option<Verdict>>,
}

/// The primary comparison, or `None` when nothing is there to compare with.
#[must_use]
pub fn primary(plan: &Plan, pieces: &[Piece]) -> Option<Primary> {
    let against = reference(plan, pieces, &plan.primary)?;
    let question = |counting| Question {
        plan,
        response: &plan.primary,
        stage_days: plan.primary_stage_days,
        against,
        counting,
        covariate: adjustment::asked(plan),
    };
    let shown = family(question(Counting::LostExcluded), pieces);
    // Without lost or censored pieces the other countings are the same one.
    let is_special = |m: &Member| !m.exposed.special.is_none() || !m.reference.special.is_none();
    let others: Vec<(Counting, Family)> = [Counting::ValidOnly, Counting::LostAsZero]
        .into_iter()
        .filter(|_| shown.members.iter().any(is_special))
        .map(|counting| (counting, family(question(counting), pieces)))
        .collect();
    let margin_percent = plan.margin_percent;
    let judged = shown
        .members
        .iter()
        .enumerate()
        .map(|(at, member)| {
            let same = |(counting, f): &(Counting, Family)| {
                f.members
                    .get(at)
                    .map(|m| counted(*counting, m, margin_percent))
            };
            let countings = if is_special(member) {
                others.iter().filter_map(same).collect()
            } else {
                Vec::new()
            };
            judge(member, countings, margin_percent)
        })
        .collect();
    Some(Primary {
        judged,
        variants: variants(plan, pieces, &shown),
        family: shown,
        margin_percent,
    })
}

fn counted(counting: Counting, member: &Member, margin: f64) -> Counted {
    Counted {
        counting,
        pieces: member.exposed.pieces,
        effect: member.effect,
        verdict: member.effect.map(|effect| Verdict::of(&effect, margin)),
    }
}

fn judge(shown: &Member, others: Vec<Counted>, margin: f64) -> Judged {
    let mut countings = vec![counted(Counting::LostExcluded, shown, margin)];
    countings.extend(others);
    let decides = decides(&countings);
    let verdict = countings.first().and_then(|first| first.verdict);
    Judged {
        verdict: match decides {
            Some(Decides { is_word: true, .. }) => Some(Verdict::NotSettled),
            Some(_) => Some(Verdict::Changed),
            None => verdict,
        },
        countings,
        decides,
    }
}

/// The two countings that differ most plainly: lost pieces first, then censored ones.
fn decides(countings: &[Counted]) -> Option<Decides> {
    let of = |counting| countings.iter().find(|c| c.counting == counting);
    let pairs = [
        (Counting::LostExcluded, Counting::LostAsZero),
        (Counting::ValidOnly, Counting::LostExcluded),
        (Counting::ValidOnly, Counting::LostAsZero),
    ];
    let differ = |is_word: bool| {
        pairs.into_iter().find_map(|(excluded, counted)| {
            let (a, b) = (of(excluded)?, of(counted)?);
            let (x, y) = (a.verdict?, b.verdict?);
            let words = (x.word(&a.effect?), y.word(&b.effect?));
            let is_other = if is_word { words.0 != words.1 } else { x != y };
            is_other.then_some(Decides {
                excluded,
                counted,
                is_word,
            })
        })
    };
    differ(true).or_else(|| differ(false))
}

/// The flags whose pieces are treated otherwise, and how.
const FLAGGED: [(&[Flag], VariantKind); 5] = [
    (&[Flag::Incident], VariantKind::WithoutIncidents),
    (&[Flag::OutsideWindow], VariantKind::WithoutOutsideWindow),
    (&[Flag::KnowingGroup], VariantKind::WithoutKnowing),
    (&[Flag::Retest], VariantKind::WithoutRetests),
    (
        &[Flag::CalibrationOpen, Flag::LoadOutsideRange],
        VariantKind::WithoutOutsideCalibration,
    ),
];

fn variants(plan: &Plan, pieces: &[Piece], shown: &Family) -> Vec<Variant> {
    let against = shown.against;
    let has = |piece: &Piece, flags: &[Flag]| flags.iter().any(|flag| piece.flags.contains(flag));
    let without = |flags: &[Flag]| {
        let kept = pieces.iter().filter(|p| !has(p, flags));
        kept.cloned().collect::<Vec<Piece>>()
    };
    let unknowing = || pieces.iter().map(Piece::unknowing).collect::<Vec<Piece>>();
    let mut found = Vec::new();
    if shown.adjustment.as_ref().is_some_and(|a| a.slope.is_some()) {
        let kind = VariantKind::Unadjusted;
        found.push(variant(plan, against, kind, 0, pieces));
    }
    let mut add = |kind, altered: usize, pieces: Vec<Piece>| {
        found.push(variant(plan, against, kind, altered, &pieces));
    };
    let concerned = |flags: &[Flag]| {
        let at_stage = |p: &&Piece| {
            p.group
                .stage_days()
                .is_none_or(|days| days == plan.primary_stage_days)
        };
        let flagged = pieces.iter().filter(|p| has(p, flags));
        flagged.filter(at_stage).count()
    };
    for (flags, kind) in FLAGGED {
        let altered = concerned(flags);
        if altered > 0 {
            let is_kept = kind == VariantKind::WithoutKnowing;
            add(
                kind,
                altered,
                if is_kept { unknowing() } else { without(flags) },
            );
        }
    }
    if plan.outlier_rule != OutlierRule::None {
        let flagged = outlier::flagged(plan, pieces, &plan.primary, plan.primary_stage_days);
        if !flagged.is_empty() {
            let kept = pieces.iter().filter(|p| !flagged.contains(&p.code));
            add(
                VariantKind::WithoutFlagged,
                flagged.len(),
                kept.cloned().collect(),
            );
        }
    }
    found
}

fn variant(
    plan: &Plan,
    against: Against,
    kind: VariantKind,
    altered: usize,
    pieces: &[Piece],
) -> Variant {
    let covariate = adjustment::asked(plan).filter(|_| kind != VariantKind::Unadjusted);
    let question = Question {
        plan,
        response: &plan.primary,
        stage_days: plan.primary_stage_days,
        against,
        counting: Counting::LostExcluded,
        covariate,
    };
    let family = family(question, pieces);
    let verdict = |m: &Member| m.effect.map(|e| Verdict::of(&e, plan.margin_percent));
    Variant {
        verdicts: family.members.iter().map(verdict).collect(),
        kind,
        pieces: altered,
        family,
    }
}
