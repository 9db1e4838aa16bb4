//! What happens to a class when its term is over: archived, rolled over, names taken out.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;

use super::classes::WhenOver;
use super::ids::{AssignmentId, ClassId, PersonId, ReportId};
use super::packed::Packed;
use super::when::When;
use super::{Store, StoreError, Tx, evidence, json_of, of_json, sessions};
use crate::report::model::Report as Items;
use crate::report::names::{stands_in, stem};

/// Stands where words were.
const TAKEN_OUT: &str = "taken out";

/// Closes a class for changes, or opens it again.
///
/// # Errors
/// When the database cannot be written.
pub async fn archive(tx: &mut Tx, class: ClassId, at: Option<When>) -> Result<(), StoreError> {
    sqlx::query!("update class set archived_at = ? where id = ?", at, class)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Says how long after the archiving the names of students are kept, and what happens then.
///
/// # Errors
/// When the database cannot be written.
pub async fn keep_for(tx: &mut Tx, class: ClassId, days: i64, over: WhenOver) -> Result<(), StoreError> {
    sqlx::query!(
        "update class set keep_days = ?, when_over = ? where id = ?",
        days,
        over,
        class
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Copies an assignment into another class, all times moved to new ones, without plates, extensions and release.
///
/// # Errors
/// When the database cannot be written.
pub async fn copy_assignment(
    tx: &mut Tx,
    from: AssignmentId,
    to: ClassId,
    opens_at: When,
    due_at: When,
    now: When,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into assignment (class, exercise_revision, title, opens_at, due_at, attempts, counting,
             late_grace_minutes, late_percent_per_day, late_floor_percent, marks_override, feedback, created_at, plate_kind)
         select ?2, (select n.id from exercise_revision n join exercise_revision o on o.exercise = n.exercise
                     where o.id = a.exercise_revision order by n.number desc limit 1),
             title, ?3, ?4, attempts, counting, late_grace_minutes, late_percent_per_day, late_floor_percent,
             case when exercise_revision = (select n.id from exercise_revision n join exercise_revision o on o.exercise = n.exercise
                     where o.id = a.exercise_revision order by n.number desc limit 1) then marks_override end,
             feedback, ?5, plate_kind
         from assignment a where id = ?1",
        from,
        to,
        opens_at,
        due_at,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Copies the machines and the staff of a class to another.
///
/// # Errors
/// When the database cannot be written.
pub async fn copy_around(tx: &mut Tx, from: ClassId, to: ClassId, now: When) -> Result<(), StoreError> {
    sqlx::query!("update class set rolled_from = ? where id = ?", from, to)
        .execute(tx.connection())
        .await?;
    sqlx::query!(
        "insert into class_machine (class, machine) select ?2, machine from class_machine where class = ?1",
        from,
        to,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "insert into class_person (class, person, joined_at) select ?2, m.person, ?3 from class_person m
             join person p on p.id = m.person where m.class = ?1 and m.left_at is null and p.role <> 'student'
         on conflict do nothing",
        from,
        to,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Archived classes whose time for keeping names is over at `now`, where something is to happen by itself.
///
/// # Errors
/// When the database does not answer.
pub async fn over(store: &Store, now: When) -> Result<Vec<ClassId>, StoreError> {
    let mut reader = store.read().acquire().await?;
    let over = those_over(&mut reader, None, now).await?;
    Ok(over.into_iter().map(|(class, _)| class).collect())
}

/// Whether a class is one of [`over`] as the change in progress sees it, and then whether the students are deleted.
///
/// # Errors
/// When the database does not answer.
pub async fn is_over(tx: &mut Tx, class: ClassId, now: When) -> Result<Option<bool>, StoreError> {
    let over = those_over(tx.connection(), Some(class), now).await?;
    Ok(over.first().map(|(_, delete)| *delete))
}

/// All, or one class if it is so: row, and whether the students are deleted.
async fn those_over(
    database: &mut SqliteConnection,
    class: Option<ClassId>,
    now: When,
) -> Result<Vec<(ClassId, bool)>, StoreError> {
    let rows = sqlx::query!(
        r#"select id as "id!: ClassId", when_over = 'delete' as "is_delete!: bool" from class
           where (?1 is null or id = ?1) and archived_at is not null and forgotten_at is null and when_over <> 'ask'
               and archived_at + keep_days * 86400000 <= ?2 order by id"#,
        class,
        now,
    )
    .fetch_all(database)
    .await?;
    Ok(rows.into_iter().map(|r| (r.id, r.is_delete)).collect())
}

/// Deletes a person whose name was taken out.
///
/// # Errors
/// When the database cannot be written.
pub async fn delete(tx: &mut Tx, person: PersonId) -> Result<(), StoreError> {
    sqlx::query!("delete from person where id = ?", person)
        .execute(tx.connection())
        .await?;
    Ok(())
}

/// Students of a class who are in no other class that still runs, with the time when they were added.
///
/// # Errors
/// When the database does not answer.
pub async fn to_forget(tx: &mut Tx, class: ClassId) -> Result<Vec<(PersonId, When)>, StoreError> {
    let rows = sqlx::query!(
        r#"select p.id as "id!", p.created_at from person p join class_person m on m.person = p.id and m.class = ?1
           where p.role = 'student' and not exists (
               select 1 from class_person o join class c on c.id = o.class
               where o.person = p.id and o.class <> ?1 and (c.archived_at is null or c.forgotten_at is null and o.left_at is null))
             and not exists (select 1 from forgotten f where f.person = p.id and f.created_at = p.created_at)"#,
        class,
    )
    .fetch_all(tx.connection())
    .await?;
    Ok(rows
        .into_iter()
        .map(|r| (PersonId(r.id), When::from(r.created_at)))
        .collect())
}

/// Takes out the name of a person and everything that is only the person's: identifier, address, secret, sessions,
/// slips, reasons, words that were written, source files and pictures of what the person's pairs handed in. The numbers
/// of the reports stay, under a pseudonym.
///
/// # Errors
/// When the database cannot be written.
pub async fn forget(tx: &mut Tx, person: PersonId, created_at: When, now: When) -> Result<(), StoreError> {
    let (name, sign_in) = (format!("Former student {person}"), format!("former-{person}"));
    forget_loans(tx, person).await?;
    sqlx::query!(
        "update person set name = ?, sign_in = ?, school_id = null, email = null, secret_hash = null where id = ?",
        name,
        sign_in,
        person,
    )
    .execute(tx.connection())
    .await?;
    sessions::end_all(tx, person).await?;
    sqlx::query!("delete from seat_slip where person = ?", person)
        .execute(tx.connection())
        .await?;
    sqlx::query!("update excuse set reason = 'taken out' where person = ?", person)
        .execute(tx.connection())
        .await?;
    sqlx::query!("update adjustment set reason = 'taken out' where person = ?", person)
        .execute(tx.connection())
        .await?;
    forget_reports(tx, person).await?;
    forget_words(tx, person).await?;
    sqlx::query!(
        "insert into forgotten (person, created_at, forgotten_at) values (?, ?, ?) on conflict do nothing",
        person,
        created_at,
        now,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Source files, pictures and words of the reports that a person had a part in.
async fn forget_reports(tx: &mut Tx, person: PersonId) -> Result<(), StoreError> {
    sqlx::query!(
        "delete from evidence where added_by = ?1 or exists (select 1 from report r join pair_person pp on pp.pair = r.pair
             and pp.from_at <= r.handed_in_at and (pp.to_at is null or pp.to_at > r.handed_in_at)
             where pp.person = ?1 and r.assignment = evidence.assignment and r.pair = evidence.pair
                 and r.attempt = evidence.attempt)",
        person,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "update report_note set remarks = null where report in (select r.id from report r join pair_person pp on pp.pair = r.pair
             and pp.from_at <= r.handed_in_at and (pp.to_at is null or pp.to_at > r.handed_in_at) where pp.person = ?1)",
        person,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "update query set text = 'taken out', answer = iif(answer is null, null, 'taken out') where asked_by = ?",
        person
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "update report set source_bytes = x'', source_name = null where id in (
             select r.id from report r join pair_person pp on pp.pair = r.pair
             and pp.from_at <= r.handed_in_at and (pp.to_at is null or pp.to_at > r.handed_in_at) where pp.person = ?1)",
        person,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Words that people wrote about the reports that a person had a part in, or about the person, and their copies in the
/// trail, which keeps who did what and when.
async fn forget_words(tx: &mut Tx, person: PersonId) -> Result<(), StoreError> {
    sqlx::query!(
        "update remark set text = 'taken out' where report in (select r.id from report r join pair_person pp on pp.pair = r.pair
             and pp.from_at <= r.handed_in_at and (pp.to_at is null or pp.to_at > r.handed_in_at) where pp.person = ?1)",
        person,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "update mark_override set reason = 'taken out' where report in (select r.id from report r join pair_person pp
             on pp.pair = r.pair and pp.from_at <= r.handed_in_at and (pp.to_at is null or pp.to_at > r.handed_in_at)
             where pp.person = ?1)",
        person,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "update audit set detail = json_replace(detail, '$.reason', 'taken out', '$.text', 'taken out') where about = 'report' and about_id in (
             select r.id from report r join pair_person pp on pp.pair = r.pair
             and pp.from_at <= r.handed_in_at and (pp.to_at is null or pp.to_at > r.handed_in_at) where pp.person = ?1)",
        person,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "update audit set detail = json_replace(detail, '$.reason', 'taken out') where about = 'assignment' and what = 'adjust'
             and about_id in (select assignment from adjustment where person = ?1) and json_extract(detail, '$.person') = ?1",
        person,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// What was written down in the plate drawer under the name of a person or naming the person: loans, what was noted when they
/// came back, where a plate lies and why it was withdrawn.
async fn forget_loans(tx: &mut Tx, person: PersonId) -> Result<(), StoreError> {
    let name = sqlx::query_scalar!("select name from person where id = ?", person)
        .fetch_optional(tx.connection())
        .await?
        .unwrap_or_default();
    let begins = stem(&name);
    let others = sqlx::query_scalar!(
        "select name from person where id <> ?1 and substr(name, 1, length(?2)) = ?2",
        person,
        begins,
    )
    .fetch_all(tx.connection())
    .await?;
    let name = Name { name: &name, others };
    forget_held(tx, &name).await?;
    forget_trail_of_plates(tx, &name).await?;
    forget_plates(tx, &name).await
}

/// A name that is taken out, and those of others that begin alike and stay.
struct Name<'a> {
    name: &'a str,
    others: Vec<String>,
}

impl Name<'_> {
    fn stands_in(&self, text: &str) -> bool {
        stands_in(text, self.name, &self.others)
    }

    /// What a text has wherever the name stands.
    fn begins(&self) -> &str {
        stem(self.name)
    }
}

/// Loans to a person, and what was noted when they came back.
async fn forget_held(tx: &mut Tx, name: &Name<'_>) -> Result<(), StoreError> {
    let begins = name.begins();
    let loans = sqlx::query!(
        r#"select id as "id!", plate, out_at, in_at, holder, remark from plate_loan
           where instr(holder, ?1) > 0 or instr(remark, ?1) > 0"#,
        begins,
    )
    .fetch_all(tx.connection())
    .await?;
    for loan in loans {
        let holds = name.stands_in(&loan.holder);
        if holds {
            sqlx::query!(
                "update audit set detail = json_replace(detail, '$.remark', 'taken out')
                 where about = 'plate' and about_id = ?1 and what = 'plate-in' and max(at, ?2) = ?3
                     and json_extract(detail, '$.remark') <> ''",
                loan.plate,
                loan.out_at,
                loan.in_at,
            )
            .execute(tx.connection())
            .await?;
        }
        if holds || name.stands_in(&loan.remark) {
            sqlx::query!(
                "update plate_loan set holder = iif(?2, 'taken out', holder), remark = iif(remark = '', '', 'taken out')
                 where id = ?1",
                loan.id,
                holds,
            )
            .execute(tx.connection())
            .await?;
        }
    }
    Ok(())
}

/// What the trail of plates says that names somebody.
async fn forget_trail_of_plates(tx: &mut Tx, name: &Name<'_>) -> Result<(), StoreError> {
    let begins = name.begins();
    let trail = sqlx::query!(
        r#"select id as "id!", detail from audit where about = 'plate' and what in ('plate-out', 'plate-in', 'plate-place', 'withdraw')
               and exists (select 1 from json_each(detail) j where instr(j.value, ?) > 0)"#,
        begins,
    )
    .fetch_all(tx.connection())
    .await?;
    for entry in trail {
        let mut detail: serde_json::Map<String, serde_json::Value> = of_json("a detail of the trail", &entry.detail)?;
        let naming = |said: &&mut serde_json::Value| said.as_str().is_some_and(|text| name.stands_in(text));
        detail
            .values_mut()
            .filter(naming)
            .for_each(|said| *said = TAKEN_OUT.into());
        let detail = json_of("a detail of the trail", &detail)?;
        sqlx::query!("update audit set detail = ?2 where id = ?1", entry.id, detail)
            .execute(tx.connection())
            .await?;
    }
    Ok(())
}

/// What is written of plates that names somebody.
async fn forget_plates(tx: &mut Tx, name: &Name<'_>) -> Result<(), StoreError> {
    let begins = name.begins();
    let plates = sqlx::query!(
        r#"select id as "id!", withdrawn_why, place, label from plate
           where instr(withdrawn_why, ?1) > 0 or instr(place, ?1) > 0 or instr(label, ?1) > 0"#,
        begins,
    )
    .fetch_all(tx.connection())
    .await?;
    for plate in plates {
        let [why, place, label] = [plate.withdrawn_why, plate.place, plate.label].map(|text| {
            if name.stands_in(&text) {
                TAKEN_OUT.to_owned()
            } else {
                text
            }
        });
        sqlx::query!(
            "update plate set withdrawn_why = ?2, place = ?3, label = ?4 where id = ?1",
            plate.id,
            why,
            place,
            label,
        )
        .execute(tx.connection())
        .await?;
    }
    Ok(())
}

/// Notes that the names of a class were taken out. Of a class with fewer than five pairs that handed in, the reports go
/// too: so few numbers are somebody's. Names of pairs become numbers.
///
/// # Errors
/// When the database cannot be written.
pub async fn close_forgotten(tx: &mut Tx, class: ClassId, now: When) -> Result<(), StoreError> {
    // No other report is to have the number of one that goes.
    sqlx::query!("update report_last set id = max(id, coalesce((select max(id) from report), 0))")
        .execute(tx.connection())
        .await?;
    sqlx::query!(
        "delete from report where assignment in (select id from assignment where class = ?1)
             and (select count(distinct r.pair) from report r join assignment a on a.id = r.assignment where a.class = ?1) < 5",
        class,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "delete from draft where assignment in (select id from assignment where class = ?)",
        class
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!("update pair set name = 'Pair ' || id where class = ?", class)
        .execute(tx.connection())
        .await?;
    sqlx::query!(
        "update extension set reason = 'taken out' where assignment in (select id from assignment where class = ?)",
        class,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "update audit set detail = json_replace(detail, '$.reason', 'taken out') where about = 'assignment' and what = 'extend'
             and about_id in (select id from assignment where class = ?)",
        class,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "update audit set detail = json_replace(detail, '$.reason', 'taken out') where about = 'class' and what = 'machine-down'
             and about_id = ?",
        class,
    )
    .execute(tx.connection())
    .await?;
    sqlx::query!(
        "update class set forgotten_at = ?1, archived_at = coalesce(archived_at, ?1) where id = ?2",
        now,
        class,
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// Ends all sessions and all slips that were not used, as in a school that comes from a backup: what was ended since must
/// not be good again.
///
/// # Errors
/// When the database cannot be written.
pub async fn end_all_sessions(tx: &mut Tx, now: When) -> Result<(), StoreError> {
    sqlx::query!("delete from session").execute(tx.connection()).await?;
    sqlx::query!(
        "update seat_slip set expires_at = min(expires_at, ?) where used_at is null",
        now
    )
    .execute(tx.connection())
    .await?;
    Ok(())
}

/// A person whose name was taken out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Gone {
    /// Row.
    pub person: PersonId,
    /// When the person was added, so that a row of another file is never taken for this one.
    pub created_at: When,
    /// Whether the person was deleted.
    pub deleted: bool,
}

/// What was taken out of a school, to be taken out again of a backup that is put back.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct TakenOut {
    /// People.
    pub people: Vec<Gone>,
    /// Classes, with when they were made.
    pub classes: Vec<(ClassId, When)>,
}

/// Whether a person of this row was added at this time and still has a name.
///
/// # Errors
/// When the database does not answer.
pub async fn has_a_name(tx: &mut Tx, person: PersonId, created_at: When) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from person p where p.id = ?1 and p.created_at = ?2 and not exists
               (select 1 from forgotten f where f.person = p.id and f.created_at = p.created_at)) as "is!: bool""#,
        person,
        created_at,
    )
    .fetch_one(tx.connection())
    .await?)
}

/// Whether a class of this row was made at this time and the names of its students stand in it.
///
/// # Errors
/// When the database does not answer.
pub async fn has_names(tx: &mut Tx, class: ClassId, created_at: When) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from class where id = ?1 and created_at = ?2 and forgotten_at is null) as "is!: bool""#,
        class,
        created_at,
    )
    .fetch_one(tx.connection())
    .await?)
}

/// The values and calls of the reports that a person has a part in.
async fn values_of(reader: &mut SqliteConnection, person: PersonId) -> Result<BTreeMap<ReportId, Items>, StoreError> {
    let rows = sqlx::query!(
        r#"select t.id as "id!: ReportId", t.items as "items!: Packed" from report t
           where t.person = ?1 or exists (select 1 from pair_person pp where pp.person = ?1 and pp.pair = t.pair
               and pp.from_at <= t.handed_in_at and (pp.to_at is null or pp.to_at > t.handed_in_at))"#,
        person,
    )
    .fetch_all(reader)
    .await?;
    rows.into_iter().map(|row| Ok((row.id, row.items.value()?))).collect()
}

/// Everything that is stored about one person, as JSON; nothing of what plates really are. Of photos and PDFs it has the
/// names and hashes; `evidence::of_person` has the files themselves.
///
/// # Errors
/// When the database does not answer.
pub async fn about(store: &Store, person: PersonId) -> Result<String, StoreError> {
    let files = evidence::of_person(store, person).await?;
    let files = json_of("files", &files.iter().map(|(file, _)| file.0).collect::<Vec<_>>())?;
    // One state of the school for both statements.
    let mut reader = store.read().begin().await?;
    let values = json_of("values", &values_of(&mut reader, person).await?)?;
    Ok(sqlx::query_scalar!(
        r#"select json_object(
             'name', p.name, 'signs_in_as', p.sign_in, 'role', p.role, 'identifier', p.school_id, 'email', p.email,
             'added_at', p.created_at, 'has_a_seat', json(iif(p.secret_hash is null, 'false', 'true')),
             'classes', (select json_group_array(json_object('class', c.name, 'term', c.term, 'joined_at', m.joined_at,
                 'left_at', m.left_at)) from class_person m join class c on c.id = m.class where m.person = p.id),
             'pairs', (select json_group_array(json_object('class', c.name, 'pair', r.name, 'from', pp.from_at, 'to', pp.to_at))
                 from pair_person pp join pair r on r.id = pp.pair join class c on c.id = r.class where pp.person = p.id),
             'reports', (select json_group_array(json_object('assignment', a.title, 'class', c.name, 'plate', l.serial,
                 'attempt', t.attempt, 'handed_in_at', t.handed_in_at, 'handed_in_by_this_person', json(iif(t.person = p.id, 'true', 'false')),
                 'values', json(v.value), 'came_as', t.source_kind, 'file_name', t.source_name,
                 'source', iif(t.source_kind = 'csv', hex(t.source_bytes), null),
                 'mark', iif(a.released_at is null, 'not released yet', g.mark),
                 'remarks', (select n.remarks from report_note n where n.report = t.id),
                 'set_up_record', (select json(n.set_up) from report_note n where n.report = t.id),
                 'checks_answered', (select json_group_array(json_object('reading', k.reading, 'value', k.value, 'at', k.answered_at))
                     from check_answer k where k.report = t.id and k.undone_at is null),
                 'words_of_instructors', (select json_group_array(json_object('text', w.text, 'at', w.made_at))
                     from remark w where w.report = t.id and w.withdrawn_at is null),
                 'mark_set_by_a_person', (select iif(a.released_at is null, 'not released yet', json_object('mark', o.mark, 'reason', o.reason))
                     from mark_override o where o.report = t.id and o.undone_at is null)))
                 from json_each(?3) v join report t on t.id = cast(v.key as integer)
                 join assignment a on a.id = t.assignment join class c on c.id = a.class join plate l on l.id = t.plate
                 left join grade g on g.report = t.id and g.superseded_at is null),
             'drafts', (select json_group_array(json_object('assignment', a.title, 'fields', json(d.fields)))
                 from draft d join assignment a on a.id = d.assignment join pair_person pp on pp.pair = d.pair
                 where pp.person = p.id and pp.to_at is null),
             'files', (select json_group_array(json_object('file', e.id || '.' || e.kind, 'name', e.name, 'bytes', e.size,
                 'sha256', lower(hex(e.sha256)), 'assignment', a.title, 'attempt', e.attempt, 'added_at', e.added_at,
                 'added_by_this_person', json(iif(e.added_by = p.id, 'true', 'false'))))
                 from evidence e join assignment a on a.id = e.assignment where e.id in (select value from json_each(?2))),
             'queries', (select json_group_array(json_object('asked', q.text, 'answer', q.answer)) from query q where q.asked_by = p.id),
             'adjustments', (select json_group_array(json_object('points', j.points, 'reason', j.reason)) from adjustment j where j.person = p.id),
             'excuses', (select json_group_array(json_object('assignment', a.title, 'reason', x.reason, 'given_at', x.given_at))
                 from excuse x join assignment a on a.id = x.assignment where x.person = p.id),
             'devices_signed_in', (select json_group_array(json_object('since', s.created_at, 'seen_at', s.seen_at))
                 from session s where s.person = p.id),
             'slips', (select json_group_array(json_object('made_at', s.made_at, 'until', s.expires_at, 'used_at', s.used_at))
                 from seat_slip s where s.person = p.id),
             'did', (select json_group_array(json_object('at', u.at, 'what', u.what, 'about', u.about)) from audit u where u.person = p.id)
           ) as "about!: String" from person p where p.id = ?1"#,
        person,
        files,
        values,
    )
    .fetch_one(&mut *reader)
    .await?)
}
