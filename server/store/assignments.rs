//! Assignments and the plates of their pairs.

use rust_decimal::Decimal;

use super::ids::{AssignmentId, ClassId, ExerciseRevisionId, PairId, PersonId, PlateId};
use super::when::When;
use super::{Store, StoreError, Tx};

/// Which attempt counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "snake_case")]
pub enum Counting {
    /// The one with the highest mark.
    Best,
    /// The last one.
    Last,
    /// The mean of all.
    Mean,
}

/// What a pair sees of its grade before the plate is open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "snake_case")]
pub enum Feedback {
    /// Which values agree and what happened, in words; no amount.
    Words,
    /// Everything.
    Full,
}

/// An assignment with what pages always need beside it.
#[derive(Debug, Clone)]
pub struct Assignment {
    /// Row.
    pub id: AssignmentId,
    /// Class.
    pub class: ClassId,
    /// Name of the class.
    pub class_name: String,
    /// IANA name of the time zone of the class.
    pub time_zone: String,
    /// Revision of the exercise that is measured.
    pub exercise_revision: ExerciseRevisionId,
    /// Code of the exercise.
    pub exercise_code: String,
    /// Title.
    pub title: String,
    /// From when pairs see it.
    pub opens_at: When,
    /// Until when a report is in time.
    pub due_at: When,
    /// How many attempts a pair has.
    pub attempts: i64,
    /// Which attempt counts.
    pub counting: Counting,
    /// Minutes after the due time that are not late.
    pub late_grace_minutes: i64,
    /// Per cent lost per day begun.
    pub late_percent_per_day: Decimal,
    /// Per cent of the mark that the late rule leaves at least.
    pub late_floor_percent: Decimal,
    /// A `[marks]` table in place of the exercise's.
    pub marks_override: Option<String>,
    /// What a pair sees.
    pub feedback: Feedback,
    /// When the marks were released.
    pub released_at: Option<When>,
}

/// An assignment of a student's pair.
#[derive(Debug, Clone)]
pub struct Mine {
    /// The assignment.
    pub assignment: Assignment,
    /// The student's pair.
    pub pair: PairId,
    /// Name of the pair.
    pub pair_name: String,
    /// From when those who are in it are in it together.
    pub since: When,
    /// Plate that the pair has now; none when none was given.
    pub plate: Option<PlateId>,
    /// Its serial number.
    pub serial: Option<String>,
    /// Reports handed in so far.
    pub handed_in: i64,
}

/// One line of the assignments of a class.
#[derive(Debug, Clone)]
pub struct AssignmentLine {
    /// Row.
    pub id: AssignmentId,
    /// Title.
    pub title: String,
    /// Code of the exercise.
    pub exercise_code: String,
    /// From when pairs see it.
    pub opens_at: When,
    /// Until when a report is in time.
    pub due_at: When,
    /// Pairs that have a plate.
    pub pairs: i64,
    /// Pairs that have handed in.
    pub handed_in: i64,
    /// Reports whose grade waits for a person.
    pub in_review: i64,
    /// When the marks were released.
    pub released_at: Option<When>,
}

/// An assignment that is about to be made.
#[derive(Debug, Clone)]
pub struct NewAssignment<'a> {
    /// Class.
    pub class: ClassId,
    /// Revision of the exercise.
    pub exercise_revision: ExerciseRevisionId,
    /// Title.
    pub title: &'a str,
    /// From when pairs see it.
    pub opens_at: When,
    /// Until when a report is in time.
    pub due_at: When,
    /// How many attempts.
    pub attempts: i64,
    /// Which counts.
    pub counting: Counting,
    /// Minutes of grace.
    pub late_grace_minutes: i64,
    /// Per cent lost per day begun.
    pub late_percent_per_day: Decimal,
    /// Per cent that is left at least.
    pub late_floor_percent: Decimal,
    /// A `[marks]` table in place of the exercise's.
    pub marks_override: Option<&'a str>,
    /// What a pair sees.
    pub feedback: Feedback,
    /// When it was made.
    pub created_at: When,
}

struct Row {
    id: i64,
    class: i64,
    class_name: String,
    time_zone: String,
    exercise_revision: i64,
    exercise_code: String,
    title: String,
    opens_at: When,
    due_at: When,
    attempts: i64,
    counting: Counting,
    late_grace_minutes: i64,
    late_percent_per_day: String,
    late_floor_percent: String,
    marks_override: Option<String>,
    feedback: Feedback,
    released_at: Option<When>,
}

fn decimal(text: &str) -> Result<Decimal, StoreError> {
    text.parse().map_err(|_| StoreError::Unreadable {
        what: "a per cent of an assignment",
        found: text.chars().take(40).collect(),
    })
}

impl TryFrom<Row> for Assignment {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        Ok(Self {
            id: AssignmentId(row.id),
            class: ClassId(row.class),
            class_name: row.class_name,
            time_zone: row.time_zone,
            exercise_revision: ExerciseRevisionId(row.exercise_revision),
            exercise_code: row.exercise_code,
            title: row.title,
            opens_at: row.opens_at,
            due_at: row.due_at,
            attempts: row.attempts,
            counting: row.counting,
            late_grace_minutes: row.late_grace_minutes,
            late_percent_per_day: decimal(&row.late_percent_per_day)?,
            late_floor_percent: decimal(&row.late_floor_percent)?,
            marks_override: row.marks_override,
            feedback: row.feedback,
            released_at: row.released_at,
        })
    }
}

impl Assignment {
    /// As it is for one pair: with the longer time that it was given, and the attempts that it was given back.
    #[must_use]
    pub fn of_pair(self, longer: Option<When>, given_back: i64) -> Self {
        Self {
            due_at: longer.unwrap_or(self.due_at),
            attempts: self.attempts + given_back,
            ..self
        }
    }
}

/// An assignment, without asking whose it is: for actions that have asked already.
///
/// # Errors
/// When the database does not answer.
pub async fn one(store: &Store, assignment: AssignmentId) -> Result<Option<Assignment>, StoreError> {
    sqlx::query_as!(
        Row,
        r#"select a.id as "id!", a.class, c.name as class_name, c.time_zone, a.exercise_revision,
               e.code as exercise_code, a.title, a.opens_at, a.due_at, a.attempts, a.counting as "counting: Counting",
               a.late_grace_minutes, a.late_percent_per_day, a.late_floor_percent, a.marks_override,
               a.feedback as "feedback: Feedback", a.released_at as "released_at: When"
           from assignment a join class c on c.id = a.class
           join exercise_revision r on r.id = a.exercise_revision join exercise e on e.id = r.exercise
           where a.id = ?"#,
        assignment,
    )
    .fetch_optional(store.read())
    .await?
    .map(Assignment::try_from)
    .transpose()
}

/// All assignments of a class with everything, soonest due first.
///
/// # Errors
/// When the database does not answer.
pub async fn all_of_class(store: &Store, class: ClassId) -> Result<Vec<Assignment>, StoreError> {
    sqlx::query_as!(
        Row,
        r#"select a.id as "id!", a.class, c.name as class_name, c.time_zone, a.exercise_revision,
               e.code as exercise_code, a.title, a.opens_at, a.due_at, a.attempts, a.counting as "counting: Counting",
               a.late_grace_minutes, a.late_percent_per_day, a.late_floor_percent, a.marks_override,
               a.feedback as "feedback: Feedback", a.released_at as "released_at: When"
           from assignment a join class c on c.id = a.class
           join exercise_revision r on r.id = a.exercise_revision join exercise e on e.id = r.exercise
           where a.class = ? order by a.due_at, a.id"#,
        class,
    )
    .fetch_all(store.read())
    .await?
    .into_iter()
    .map(Assignment::try_from)
    .collect()
}

/// Whether a person belongs to the class of an assignment.
///
/// # Errors
/// When the database does not answer.
pub async fn is_of(store: &Store, assignment: AssignmentId, person: PersonId) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from assignment a join class_person m on m.class = a.class
           where a.id = ? and m.person = ? and m.left_at is null) as "is!: bool""#,
        assignment,
        person,
    )
    .fetch_one(store.read())
    .await?)
}

/// A student's pair in the class of an assignment, with its plate, if the student is in one at `now`.
///
/// # Errors
/// When the database does not answer.
pub async fn mine(store: &Store, assignment: AssignmentId, person: PersonId) -> Result<Option<Mine>, StoreError> {
    let row = sqlx::query!(
        r#"select pr.id as "pair!", pr.name as pair_name, (select max(s.from_at) from pair_person s where s.pair = pr.id and s.to_at is null) as "since!: When",
               ap.plate as "plate?: PlateId", pl.serial as "serial?",
               (select count(*) from report r where r.assignment = a.id and r.pair = pr.id) as "handed_in!: i64",
               (select x.due_at from extension x where x.assignment = a.id and x.pair = pr.id) as "longer: When",
               (select count(*) from report r join other_plate o on o.report = r.id and o.settled = 'not'
                where r.assignment = a.id and r.pair = pr.id) as "given_back!: i64"
           from assignment a
           join class_person m on m.class = a.class and m.person = ?1 and m.left_at is null
           join pair pr on pr.class = a.class
           join pair_person pp on pp.pair = pr.id and pp.person = ?1
               and pp.to_at is null
           left join assignment_plate ap on ap.assignment = a.id and ap.pair = pr.id
               and ap.to_at is null
           left join plate pl on pl.id = ap.plate
           where a.id = ?2 order by pp.from_at desc, pp.id desc limit 1"#,
        person,
        assignment,
    )
    .fetch_optional(store.read())
    .await?;
    let Some(row) = row else { return Ok(None) };
    let Some(assignment) = one(store, assignment).await? else {
        return Ok(None);
    };
    Ok(Some(Mine {
        assignment: assignment.of_pair(row.longer, row.given_back),
        pair: PairId(row.pair),
        pair_name: row.pair_name,
        since: row.since,
        plate: row.plate,
        serial: row.serial,
        handed_in: row.handed_in,
    }))
}

/// What a student has to do or has done, soonest due first; not what has not opened yet. One statement, however many
/// there are. Of several pairs in one class the one that the student is in since the latest counts, as in [`mine`].
///
/// # Errors
/// When the database does not answer.
pub async fn of_student(store: &Store, person: PersonId, now: When) -> Result<Vec<Mine>, StoreError> {
    let rows = sqlx::query!(
        r#"select a.id as "id!", a.class, c.name as class_name, c.time_zone, a.exercise_revision,
               e.code as exercise_code, a.title, a.opens_at, a.due_at, a.attempts, a.counting as "counting: Counting",
               a.late_grace_minutes, a.late_percent_per_day, a.late_floor_percent, a.marks_override,
               a.feedback as "feedback: Feedback", a.released_at as "released_at: When",
               pr.id as "pair!", pr.name as pair_name, (select max(s.from_at) from pair_person s where s.pair = pr.id and s.to_at is null) as "since!: When",
               ap.plate as "plate?: PlateId", pl.serial as "serial?",
               (select count(*) from report r where r.assignment = a.id and r.pair = pr.id) as "handed_in!: i64",
               (select x.due_at from extension x where x.assignment = a.id and x.pair = pr.id) as "longer: When",
               (select count(*) from report r join other_plate o on o.report = r.id and o.settled = 'not'
                where r.assignment = a.id and r.pair = pr.id) as "given_back!: i64"
           from class_person m join class c on c.id = m.class
           join pair_person pp on pp.id = (select pp.id from pair_person pp join pair q on q.id = pp.pair and q.class = m.class
               where pp.person = m.person and pp.to_at is null order by pp.from_at desc, pp.id desc limit 1)
           join pair pr on pr.id = pp.pair
           join assignment a on a.class = m.class and a.opens_at <= ?2
           join exercise_revision v on v.id = a.exercise_revision join exercise e on e.id = v.exercise
           left join assignment_plate ap on ap.assignment = a.id and ap.pair = pr.id
               and ap.to_at is null
           left join plate pl on pl.id = ap.plate
           where m.person = ?1 and m.left_at is null order by a.due_at, a.id"#,
        person,
        now,
    )
    .fetch_all(store.read())
    .await?;
    let mut all: Vec<Mine> = Vec::with_capacity(rows.len());
    for r in rows {
        let assignment = Assignment::try_from(Row {
            id: r.id,
            class: r.class,
            class_name: r.class_name,
            time_zone: r.time_zone,
            exercise_revision: r.exercise_revision,
            exercise_code: r.exercise_code,
            title: r.title,
            opens_at: r.opens_at.into(),
            due_at: r.due_at.into(),
            attempts: r.attempts,
            counting: r.counting,
            late_grace_minutes: r.late_grace_minutes,
            late_percent_per_day: r.late_percent_per_day,
            late_floor_percent: r.late_floor_percent,
            marks_override: r.marks_override,
            feedback: r.feedback,
            released_at: r.released_at,
        })?;
        all.push(Mine {
            assignment: assignment.of_pair(r.longer, r.given_back),
            pair: PairId(r.pair),
            pair_name: r.pair_name,
            since: r.since,
            plate: r.plate,
            serial: r.serial,
            handed_in: r.handed_in,
        });
    }
    Ok(all)
}

/// The assignments of a class, soonest due first.
///
/// # Errors
/// When the database does not answer.
pub async fn of_class(store: &Store, class: ClassId) -> Result<Vec<AssignmentLine>, StoreError> {
    Ok(sqlx::query_as!(
        AssignmentLine,
        r#"select a.id as "id!", a.title, e.code as exercise_code, a.opens_at, a.due_at,
               (select count(distinct ap.pair) from assignment_plate ap where ap.assignment = a.id) as "pairs!: i64",
               (select count(distinct r.pair) from report r where r.assignment = a.id) as "handed_in!: i64",
               (select count(*) from report r join grade g on g.report = r.id and g.superseded_at is null
                where r.assignment = a.id and g.review is not null) as "in_review!: i64",
               a.released_at as "released_at: When"
           from assignment a join exercise_revision v on v.id = a.exercise_revision
           join exercise e on e.id = v.exercise
           where a.class = ? order by a.due_at, a.id"#,
        class,
    )
    .fetch_all(store.read())
    .await?)
}

/// Plate serial of every pair of an assignment at `now`, in the order of pairs.
///
/// # Errors
/// When the database does not answer.
pub async fn plates_of(store: &Store, assignment: AssignmentId) -> Result<Vec<(PairId, PlateId, String)>, StoreError> {
    let rows = sqlx::query!(
        r#"select ap.pair, ap.plate, p.serial from assignment_plate ap join plate p on p.id = ap.plate
           join pair r on r.id = ap.pair
           where ap.assignment = ? and ap.to_at is null
           order by r.id"#,
        assignment,
    )
    .fetch_all(store.read())
    .await?;
    Ok(rows
        .into_iter()
        .map(|r| (PairId(r.pair), PlateId(r.plate), r.serial))
        .collect())
}

/// Makes an assignment, still without plates.
///
/// # Errors
/// When the database cannot be written.
pub async fn add(tx: &mut Tx, new: &NewAssignment<'_>) -> Result<AssignmentId, StoreError> {
    let (per_day, floor) = (new.late_percent_per_day.to_string(), new.late_floor_percent.to_string());
    let id = sqlx::query_scalar!(
        r#"insert into assignment (class, exercise_revision, title, opens_at, due_at, attempts, counting,
               late_grace_minutes, late_percent_per_day, late_floor_percent, marks_override, feedback, created_at)
           values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) returning id as "id!""#,
        new.class,
        new.exercise_revision,
        new.title,
        new.opens_at,
        new.due_at,
        new.attempts,
        new.counting,
        new.late_grace_minutes,
        per_day,
        floor,
        new.marks_override,
        new.feedback,
        new.created_at,
    )
    .fetch_one(tx.connection())
    .await?;
    Ok(AssignmentId(id))
}

/// Gives a pair a plate from a time on.
///
/// # Errors
/// When the pair has one already or the database cannot be written.
pub async fn give_plate(
    tx: &mut Tx,
    assignment: AssignmentId,
    pair: PairId,
    plate: PlateId,
    from_at: When,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into assignment_plate (assignment, pair, plate, from_at) values (?, ?, ?, ?)",
        assignment,
        pair,
        plate,
        from_at,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Notes that the marks are released; whether they were not before.
///
/// # Errors
/// When the database cannot be written.
pub async fn release(tx: &mut Tx, assignment: AssignmentId, now: When) -> Result<bool, StoreError> {
    let done = sqlx::query!(
        "update assignment set released_at = ? where id = ? and released_at is null",
        now,
        assignment,
    )
    .execute(tx.connection())
    .await?;
    Ok(done.rows_affected() == 1)
}
