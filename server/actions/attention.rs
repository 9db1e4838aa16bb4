//! Searches graded reports for reasons to look at them: what the grade itself says, calls in doubt, and the same digits
//! as another pair's. A reason is for a person; no mark hangs on it.

use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;

use rust_decimal::Decimal;
use thiserror::Error;

use super::Service;
use super::basis::Of;
use super::load::{self, LoadError};
use super::my_result::grade_from;
use super::searches::Waiting;
use crate::cohort::duplicates::{Chances, Comparison, Line, TwoValues, remarkable};
use crate::exercise::model::Exercise;
use crate::exercise::names::BalloonNo;
use crate::grading::grade::{Grade, GradedItem};
use crate::grading::review::{DOUBTFUL_CALL, OTHER_PLATE, OtherPlate, Review, SAME_DIGITS, SameDigits, doubtful_calls};
use crate::report::model::{Report as Items, ReportItem};
use crate::store::attention::{self, Found, Other, Reason};
use crate::store::ids::{AssignmentId, ExerciseRevisionId, PairId, PlateId, PlateRevisionId, ReportId};
use crate::store::{StoreError, other_plates};
use crate::units::decimal_to_f64;

/// Most reports that one is compared with: the newest ones.
const OTHERS: usize = 200;
/// So many more are asked for, because some are the pair's own.
const OWN: usize = 56;
/// Fewest values that must be the same before the chance of it is worked out: with one or two it is a coincidence that
/// nobody should be asked about.
const FEWEST: usize = 4;

/// Reports whose values, and plates whose references are kept at once.
const KEPT: (usize, usize) = (1024, 128);

/// Why a search failed.
#[derive(Debug, Error)]
pub enum SearchError {
    /// Something that it needs cannot be loaded.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// What is stored has another form.
    #[error("a stored report cannot be read: {0}")]
    Unreadable(#[from] serde_json::Error),
    /// The computation was cut off.
    #[error("the server is stopping")]
    Stopping,
}

impl SearchError {
    /// Whether it is not only one report's.
    const fn is_of_the_database(&self) -> bool {
        matches!(self, Self::Store(error) if !matches!(error, StoreError::Unreadable { .. }))
    }
}

/// References of a plate by number.
pub(super) type References = BTreeMap<BalloonNo, f64>;
/// What a grade was computed from.
type Basis = (ExerciseRevisionId, PlateRevisionId);

/// Values of a report.
#[derive(Debug)]
struct Values {
    /// In the order of the sheet.
    by_no: Vec<(BalloonNo, Decimal)>,
    /// A number for each value with its balloon number, in order: equal ones give equal numbers.
    prints: Vec<u64>,
    /// A bit for each of these numbers: what two reports have in common leaves common bits.
    marked: [u64; MARKED],
    /// How many of these numbers share a bit with an earlier one.
    meet: usize,
}

/// Words of bits: so many that the prints of unlike reports seldom meet in a bit.
const MARKED: usize = 16;

impl Values {
    fn of(items: Items) -> Self {
        let of = |item: ReportItem| Some((item.no, item.measured?.decimal()));
        Self::new(items.items.into_iter().filter_map(of).collect())
    }

    fn new(by_no: Vec<(BalloonNo, Decimal)>) -> Self {
        let print = |value: &(BalloonNo, Decimal)| {
            let mut hasher = DefaultHasher::new();
            value.hash(&mut hasher);
            hasher.finish()
        };
        let mut prints: Vec<u64> = by_no.iter().map(print).collect();
        prints.sort_unstable();
        let mut marked = [0_u64; MARKED];
        for print in &prints {
            let word = usize::try_from(print / 64).map_or(0, |n| n % MARKED);
            if let Some(word) = marked.get_mut(word) {
                *word |= 1 << (print % 64);
            }
        }
        let apart = marked.iter().map(|word| word.count_ones() as usize).sum();
        Self {
            meet: prints.len().saturating_sub(apart),
            by_no,
            prints,
            marked,
        }
    }

    /// The value of a number, which most often stands at `place`.
    fn at(&self, place: &mut usize, no: &BalloonNo) -> Option<Decimal> {
        if let Some((_, value)) = self.by_no.get(*place).filter(|(at, _)| at == no) {
            *place += 1;
            return Some(*value);
        }
        self.by_no.iter().find(|(at, _)| at == no).map(|(_, value)| *value)
    }

    /// Whether enough is the same to ask for the chance of it.
    fn is_like(&self, other: &Self) -> bool {
        let words = self.marked.iter().zip(&other.marked);
        let common: usize = words.map(|(mine, their)| (mine & their).count_ones() as usize).sum();
        // Values in common leave a common bit each, but for those that share one.
        if common + self.meet < FEWEST {
            return false;
        }
        let (mut same, mut theirs) = (0, other.prints.iter().peekable());
        for mine in &self.prints {
            while theirs.next_if(|their| *their < mine).is_some() {}
            same += usize::from(theirs.next_if_eq(&mine).is_some());
        }
        same >= FEWEST
    }
}

/// A graded report that is to be searched.
#[derive(Debug, Clone)]
pub(super) struct ToSearch {
    pub(super) report: ReportId,
    of: Of,
    basis: Basis,
    items: Items,
    references: Arc<References>,
    /// What the grade itself says.
    reason: Option<Review>,
    doubtful: Vec<BalloonNo>,
}

/// A report that is being searched.
struct Mine {
    report: ReportId,
    of: Of,
    basis: Basis,
    values: Arc<Values>,
    references: Arc<References>,
}

impl From<ToSearch> for Mine {
    fn from(one: ToSearch) -> Self {
        Self {
            report: one.report,
            of: one.of,
            basis: one.basis,
            values: Arc::new(Values::of(one.items)),
            references: one.references,
        }
    }
}

impl ToSearch {
    pub(super) fn new(
        (report, of, basis): (ReportId, Of, Basis),
        items: Items,
        references: Arc<References>,
        grade: &Grade,
        reason: Option<Review>,
    ) -> Self {
        Self {
            report,
            of,
            basis,
            items,
            references,
            reason,
            doubtful: doubtful_calls(grade),
        }
    }

    /// From what is stored; none where the report has no grade any more.
    async fn stored(service: &Service, report: ReportId) -> Result<Option<Self>, SearchError> {
        let Some(stored) = attention::graded(&service.store, report).await? else {
            return Ok(None);
        };
        let of = Of {
            assignment: stored.assignment,
            pair: stored.pair,
            plate: stored.plate,
        };
        let basis = (stored.exercise_revision, stored.plate_revision);
        let items: Items = stored.items.value()?;
        let reason = stored.review.as_deref().and_then(Review::from_word);
        let grade = grade_from(&stored.result)?;
        let references = Arc::new(references(&grade));
        Ok(Some(Self::new((report, of, basis), items, references, &grade, reason)))
    }

    /// What the grade says.
    fn of_grade(&self) -> Result<Vec<Found>, serde_json::Error> {
        let mut own = Vec::new();
        own.extend(self.reason.map(|r| Found {
            reason: r.word(),
            detail: "{}".to_owned(),
        }));
        if !self.doubtful.is_empty() {
            own.push(Found {
                reason: DOUBTFUL_CALL,
                detail: serde_json::to_string(&self.doubtful)?,
            });
        }
        Ok(own)
    }
}

/// What the plate of a grade is, which all grades from the same basis say alike.
pub(super) fn references(grade: &Grade) -> References {
    let reference = |i: &GradedItem| Some((i.no.clone(), i.reference?));
    grade.items.iter().filter_map(reference).collect()
}

/// What one search learns for the next.
#[derive(Debug, Default)]
pub(super) struct Known {
    values: BTreeMap<ReportId, Arc<Values>>,
    references: BTreeMap<Basis, Arc<References>>,
    chances: Chances,
}

/// Searches graded reports together and writes what is found, on both sides where two are alike.
///
/// # Errors
/// When something cannot be read or written.
pub(super) async fn search(service: &Service, reports: Vec<Waiting>) -> Result<(), SearchError> {
    let mut known = service.searches.known.lock().await;
    let mut all = Vec::with_capacity(reports.len());
    for report in reports {
        match report {
            Waiting::AtHand(one) => all.push(*one),
            Waiting::Stored(report) => match ToSearch::stored(service, report).await {
                Ok(one) => all.extend(one),
                Err(error) if error.is_of_the_database() => return Err(error),
                Err(error) => {
                    tracing::warn!(%error, report = report.0, "a report was not searched for reasons to look at it");
                }
            },
        }
    }
    let searched: Vec<ReportId> = all.iter().map(|one| one.report).collect();
    let mut found: Vec<(ReportId, Found)> = Vec::new();
    for one in &all {
        found.extend(one.of_grade()?.into_iter().map(|f| (one.report, f)));
    }
    let all: Vec<Mine> = all.into_iter().map(Mine::from).collect();
    for one in &all {
        keep(&mut known.values, one.report, Arc::clone(&one.values), KEPT.0);
        keep(&mut known.references, one.basis, Arc::clone(&one.references), KEPT.1);
    }
    for other in other_plates::open_among(&service.store, &searched).await? {
        found.push((other.report, other_plate(&other)?));
    }
    for digits in alike(service, &mut known, all).await? {
        found.push(digits.found()?);
        found.push(digits.other_way().found()?);
    }
    write(service, &searched, found).await
}

/// What a reason is about. About another report it is the same whatever else was said of it: the number of comparisons, and
/// with it the chance, differs from search to search, and what somebody is done with stays done.
type About = (ReportId, String, String);

fn about(report: ReportId, reason: &str, detail: &str) -> About {
    let digits: Result<SameDigits, _> = serde_json::from_str(detail);
    let what = digits.map_or_else(|_| detail.to_owned(), |d| d.other.to_string());
    (report, reason.to_owned(), what)
}

/// Writes what searches found. Reasons that were found before keep their time; those of the searched reports that are gone go.
async fn write(service: &Service, searched: &[ReportId], found: Vec<(ReportId, Found)>) -> Result<(), SearchError> {
    let all: BTreeSet<ReportId> = searched.iter().copied().chain(found.iter().map(|(r, _)| *r)).collect();
    let all: Vec<ReportId> = all.into_iter().collect();
    let mut tx = service.store.change_beside().await?;
    let there = attention::of_all(&mut tx, &all).await?;
    let mut known: BTreeSet<About> = there.iter().map(|(r, f)| about(*r, &f.reason, &f.detail)).collect();
    let is: BTreeSet<About> = found.iter().map(|(r, f)| about(*r, f.reason, &f.detail)).collect();
    let again: BTreeSet<&ReportId> = searched.iter().collect();
    let is_gone = |(r, f): &(ReportId, Reason)| again.contains(r) && !is.contains(&about(*r, &f.reason, &f.detail));
    let gone: Vec<(ReportId, Reason)> = there.into_iter().filter(is_gone).collect();
    if !gone.is_empty() {
        attention::take_all(&mut tx, &gone).await?;
    }
    // Two reports that are searched together find each other, and each says it of both.
    let mut new = found;
    new.retain(|(r, f)| known.insert(about(*r, f.reason, &f.detail)));
    let now = service.clock.now();
    if !new.is_empty() {
        attention::add_all(&mut tx, &new, now).await?;
    }
    attention::searched(&mut tx, searched, now).await?;
    Ok(tx.commit().await?)
}

/// The reason of a report on another plate than the pair was given.
pub(super) fn other_plate(other: &other_plates::OtherPlate) -> Result<Found, serde_json::Error> {
    Ok(Found {
        reason: OTHER_PLATE,
        detail: serde_json::to_string(&OtherPlate {
            measured: other.measured.clone(),
            given: other.given.clone(),
        })?,
    })
}

/// Searches what was graded and not searched, as after a stop between the two.
///
/// # Errors
/// When the database does not answer.
pub async fn search_missing(service: &Service) -> Result<(), StoreError> {
    super::searches::soon(service, attention::unsearched(&service.store, 10_000).await?);
    Ok(())
}

/// One report is remarkably like another one.
struct Alike {
    report: ReportId,
    digits: SameDigits,
}

impl Alike {
    fn found(&self) -> Result<(ReportId, Found), serde_json::Error> {
        let found = Found {
            reason: SAME_DIGITS,
            detail: serde_json::to_string(&self.digits)?,
        };
        Ok((self.report, found))
    }

    /// Said of the other one.
    fn other_way(&self) -> Self {
        Self {
            report: ReportId(self.digits.other),
            digits: SameDigits {
                other: self.report.0,
                ..self.digits.clone()
            },
        }
    }
}

/// A report beside those that enough is the same of to ask at all.
struct Side {
    mine: Mine,
    exercise: Arc<Exercise>,
    /// How many it was held against.
    among: usize,
    theirs: Vec<(ReportId, Arc<Values>, Option<Arc<References>>)>,
}

/// The reports of other pairs that these are remarkably like.
async fn alike(service: &Service, known: &mut Known, all: Vec<Mine>) -> Result<Vec<Alike>, SearchError> {
    let mut newest = Newest::default();
    for mine in &all {
        newest.ask(service, mine.of).await?;
    }
    let beside = newest.with_values(service, known).await?;
    let (mut sides, mut between) = (Vec::new(), BTreeMap::new());
    for mine in all {
        let others = beside.get(&key(mine.of)).map_or(&[][..], Vec::as_slice);
        let like = |(_, of): &&(Other, Option<Arc<Values>>)| of.as_ref().is_some_and(|of| mine.values.is_like(of));
        let candidates: Vec<&(Other, Option<Arc<Values>>)> = others.iter().filter(like).collect();
        if candidates.is_empty() {
            continue;
        }
        let exercise = load::exercise(service, mine.basis.0).await?;
        let mut theirs = Vec::new();
        for (other, values) in candidates {
            let biases = if other.plate == mine.of.plate {
                None
            } else {
                let second = match references_of(service, known, other).await {
                    Ok(second) => second,
                    Err(error) if error.is_of_the_database() => return Err(error),
                    // Nothing can be said beside a grade that is gone or has another form.
                    Err(_) => continue,
                };
                let of = (mine.basis, (other.exercise_revision, other.plate_revision));
                let known = between.entry(of);
                Some(Arc::clone(
                    known.or_insert_with(|| Arc::new(biases(&mine.references, &second))),
                ))
            };
            theirs.extend(values.iter().map(|of| (other.report, Arc::clone(of), biases.clone())));
        }
        let among = others.len();
        sides.push(Side {
            mine,
            exercise,
            among,
            theirs,
        });
    }
    let mut chances = std::mem::take(&mut known.chances);
    let compared = tokio::task::spawn_blocking(move || {
        let found: Vec<Alike> = sides.iter().flat_map(|side| compared(side, &mut chances)).collect();
        (found, chances)
    });
    let (found, chances) = compared.await.map_err(|_| SearchError::Stopping)?;
    known.chances = chances;
    Ok(found)
}

fn compared(side: &Side, chances: &mut Chances) -> Vec<Alike> {
    // Each of the reports with each other one could have been remarked upon.
    let comparisons = side.among * (side.among + 1) / 2;
    let one = |(other, theirs, biases): &(ReportId, Arc<Values>, Option<Arc<References>>)| {
        let lines = lines(&side.exercise, &side.mine.values, theirs, biases.as_deref());
        // Noise that makes no distribution says nothing about digits.
        let compared = remarkable(chances, &lines, comparisons).ok().flatten()?;
        let digits = digits(*other, &compared)?;
        Some(Alike {
            report: side.mine.report,
            digits,
        })
    };
    side.theirs.iter().filter_map(one).collect()
}

fn digits(other: ReportId, compared: &Comparison) -> Option<SameDigits> {
    (compared.same.len() >= FEWEST).then_some(SameDigits {
        other: other.0,
        same: compared.same.len(),
        of: compared.compared,
        expected: compared.expected_among_all,
    })
}

/// The newest reports of assignments and plates, each asked for once in a search.
#[derive(Default)]
struct Newest {
    assignments: BTreeMap<AssignmentId, Vec<Other>>,
    plates: BTreeMap<PlateId, Vec<Other>>,
    others: BTreeMap<Key, Vec<Other>>,
}

/// Reports of one key are held against the same others.
type Key = (AssignmentId, PlateId, PairId);

/// Reports with their values, where these can be read.
type Beside = BTreeMap<Key, Vec<(Other, Option<Arc<Values>>)>>;

const fn key(of: Of) -> Key {
    (of.assignment, of.plate, of.pair)
}

impl Newest {
    /// Asks for the graded reports of other pairs on the same exercise: the newest ones of the assignment, and of the same
    /// plate elsewhere; newest first.
    async fn ask(&mut self, service: &Service, of: Of) -> Result<(), StoreError> {
        if self.others.contains_key(&key(of)) {
            return Ok(());
        }
        let store = &service.store;
        let read = i64::try_from(OTHERS + OWN).unwrap_or(i64::MAX);
        if let Entry::Vacant(place) = self.assignments.entry(of.assignment) {
            place.insert(attention::newest_of_assignment(store, of.assignment, None, read).await?);
        }
        if let Entry::Vacant(place) = self.plates.entry(of.plate) {
            place.insert(attention::newest_of_plate(store, of.plate, None, read).await?);
        }
        let most = i64::try_from(OTHERS).unwrap_or(i64::MAX);
        let mut all = match enough(self.assignments.get(&of.assignment), of.pair) {
            Some(others) => others,
            None => attention::newest_of_assignment(store, of.assignment, Some(of.pair), most).await?,
        };
        all.extend(match enough(self.plates.get(&of.plate), of.pair) {
            Some(others) => others,
            None => attention::newest_of_plate(store, of.plate, Some(of.pair), most).await?,
        });
        all.sort_unstable_by_key(|o| std::cmp::Reverse(o.report));
        all.dedup_by_key(|o| o.report);
        all.truncate(OTHERS);
        self.others.insert(key(of), all);
        Ok(())
    }

    /// All that were asked for, with their values.
    async fn with_values(self, service: &Service, known: &mut Known) -> Result<Beside, SearchError> {
        let reports: BTreeSet<ReportId> = self.others.values().flatten().map(|o| o.report).collect();
        let values = values(service, known, reports).await?;
        let with = |other: Other| (other, values.get(&other.report).cloned());
        Ok(self
            .others
            .into_iter()
            .map(|(key, others)| (key, others.into_iter().map(with).collect()))
            .collect())
    }
}

/// Those of other pairs, newest first; none where the list ends before there are as many as are looked at.
fn enough(newest: Option<&Vec<Other>>, pair: PairId) -> Option<Vec<Other>> {
    let newest = newest?;
    let others: Vec<Other> = newest.iter().filter(|o| o.pair != pair).take(OTHERS).copied().collect();
    (others.len() == OTHERS || newest.len() < OTHERS + OWN).then_some(others)
}

/// Values of reports: those that are known, and the rest in one statement.
async fn values(
    service: &Service,
    known: &mut Known,
    reports: BTreeSet<ReportId>,
) -> Result<BTreeMap<ReportId, Arc<Values>>, SearchError> {
    let (mut all, mut unknown) = (BTreeMap::new(), Vec::new());
    for report in reports {
        match known.values.get(&report) {
            Some(values) => drop(all.insert(report, Arc::clone(values))),
            None => unknown.push(report),
        }
    }
    if !unknown.is_empty() {
        for (report, items) in attention::items(&service.store, &unknown).await? {
            // One of another form is like none.
            let Ok(items) = items.value::<Items>() else {
                continue;
            };
            let values = Arc::new(Values::of(items));
            keep(&mut known.values, report, Arc::clone(&values), KEPT.0);
            all.insert(report, values);
        }
    }
    Ok(all)
}

/// Keeps a value; where there are too many, what has the smallest key goes: the oldest.
fn keep<K: Ord, V>(known: &mut BTreeMap<K, V>, key: K, value: V, most: usize) {
    known.insert(key, value);
    if known.len() > most {
        known.pop_first();
    }
}

/// The references that the grade of another report was computed from.
async fn references_of(service: &Service, known: &mut Known, other: &Other) -> Result<Arc<References>, SearchError> {
    let basis = (other.exercise_revision, other.plate_revision);
    if let Some(known) = known.references.get(&basis) {
        return Ok(Arc::clone(known));
    }
    let stored = ToSearch::stored(service, other.report)
        .await?
        .ok_or(LoadError::Missing("a grade"))?;
    keep(
        &mut known.references,
        stored.basis,
        Arc::clone(&stored.references),
        KEPT.1,
    );
    Ok(stored.references)
}

/// By how much the references of the first plate lie above those of the second.
fn biases(first: &References, second: &References) -> References {
    let bias = |(no, x): (&BalloonNo, &f64)| Some((no.clone(), x - second.get(no)?));
    first.iter().filter_map(bias).collect()
}

/// Two reports side by side; `biases` are those of their plates, where these are two.
fn lines(exercise: &Exercise, mine: &Values, theirs: &Values, biases: Option<&References>) -> Vec<Line> {
    let mut places = (0, 0);
    let line = |c: &crate::exercise::model::Characteristic| {
        let (first, second) = (mine.at(&mut places.0, &c.no), theirs.at(&mut places.1, &c.no));
        let (first, second) = (first?, second?);
        let bias = match biases {
            Some(biases) => *biases.get(&c.no)?,
            None => 0.0,
        };
        // Both wrote the print down: that is another matter, and the grade says it.
        if first == second && first == c.nominal {
            return None;
        }
        let sigma = decimal_to_f64(c.u_lab) / 2.0;
        let step = 10_f64.powi(-i32::try_from(exercise.decimals).unwrap_or(0));
        let honest = TwoValues {
            sigma_1: sigma,
            sigma_2: sigma,
            step,
            bias,
        };
        Some(Line { first, second, honest })
    };
    exercise.characteristics.iter().filter_map(line).collect()
}

#[cfg(test)]
mod tests {
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};

    use super::*;

    #[test]
    fn reports_are_like_where_enough_values_are_the_same() {
        let mut dice = ChaCha8Rng::seed_from_u64(11);
        let mut drawn = |kinds: u32| -> Vec<(BalloonNo, Decimal)> {
            let value = |n: u32| {
                (
                    n.to_string().parse().unwrap(),
                    Decimal::new(i64::from(dice.next_u32() % kinds), 2),
                )
            };
            (1..=40).map(value).collect()
        };
        let (mut like, mut unlike) = (0, 0);
        for round in 0..400 {
            let kinds = 4 + round % 24;
            let (mine, their) = (drawn(kinds), drawn(kinds));
            let same = mine.iter().zip(&their).filter(|(a, b)| a == b).count();
            let (mine, their) = (Values::new(mine), Values::new(their));
            assert_eq!(mine.is_like(&their), same >= FEWEST, "{same} are the same");
            assert_eq!(their.is_like(&mine), same >= FEWEST, "{same} are the same");
            *(if same >= FEWEST { &mut like } else { &mut unlike }) += 1;
        }
        assert!(like > 50 && unlike > 50, "{like} {unlike}");
    }

    #[test]
    fn values_that_share_a_bit_are_counted_all_the_same() {
        // More values than there are bits: many share one.
        let value = |n: i64| (n.to_string().parse().unwrap(), Decimal::new(n, 2));
        let all: Vec<_> = (1..=2000).map(value).collect();
        let few: Vec<_> = all.iter().take(FEWEST).cloned().collect();
        let (all, few, fewer) = (
            Values::new(all),
            Values::new(few.clone()),
            Values::new(few[1..].to_vec()),
        );
        assert!(all.meet > 0);
        assert!(all.is_like(&few) && few.is_like(&all));
        assert!(!all.is_like(&fewer) && !fewer.is_like(&all));
    }
}
