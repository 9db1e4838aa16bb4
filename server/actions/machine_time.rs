//! Machine time: a rota for a class, and turns that pairs swap.

use thiserror::Error;

use super::Service;
use crate::cohort::rota::{self, Need, Session, Turn, overlap};
use crate::store::assignments::Assignment;
use crate::store::ids::{ClassId, PairId, PersonId, PlateId};
use crate::store::turns::{self, TurnLine};
use crate::store::when::When;
use crate::store::{StoreError, Tx, assignments, audit, pairs};

/// Why something was not done.
#[derive(Debug, Error)]
pub enum TimeError {
    /// Name empty or too long.
    #[error("give the machine a name of 1 to 60 characters")]
    MachineName,
    /// No machines.
    #[error("the class has no machine yet; add one first")]
    NoMachine,
    /// Length out of range.
    #[error("give sessions of 5 to 600 minutes")]
    Minutes,
    /// Number out of range.
    #[error("give 1 to 100 sessions one after another")]
    Sessions,
    /// Turns out of range.
    #[error("give every pair 1 to 20 turns")]
    Turns,
    /// Nobody to give turns to.
    #[error("no pair has a plate for this assignment")]
    NoPairs,
    /// One of the two is not there any more, or has begun.
    #[error("one of the two turns has begun or is not there any more; look at the rota again")]
    Gone,
    /// Not of this class.
    #[error("the class does not have this machine or assignment, or not any more; look at the page again")]
    NotHere,
    /// A plate or pair would be in two places.
    #[error("that cannot be: {0}")]
    Clash(String),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What a rota is wanted for.
#[derive(Debug, Clone)]
pub struct Wanted<'a> {
    /// For which assignment.
    pub assignment: &'a Assignment,
    /// When the first session begins.
    pub from: When,
    /// How long a session lasts, in minutes.
    pub minutes: i64,
    /// How many, one after another, on each machine.
    pub sessions: i64,
    /// How many turns each pair has in all.
    pub turns: i64,
}

/// What became of a wish for a rota.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Planned {
    /// Turns that were given.
    pub given: usize,
    /// Turns that did not fit.
    pub left: u32,
    /// What to add so that all fit, in words; empty where all do.
    pub to_add: String,
}

/// Adds a machine to a class.
///
/// # Errors
/// When the name has not its form or the database cannot be written.
pub async fn add_machine(service: &Service, class: ClassId, name: &str) -> Result<(), TimeError> {
    let name = crate::report::roster::clean(name);
    if !(1..=60).contains(&name.chars().count()) {
        return Err(TimeError::MachineName);
    }
    let mut tx = service.store.change().await?;
    turns::add_machine(&mut tx, class, &name).await?;
    Ok(tx.commit().await?)
}

fn taken(lines: &[TurnLine]) -> Vec<Turn> {
    let turn = |line: &TurnLine| Turn {
        session: session(line),
        pair: line.pair.0,
        // A pair without a plate blocks its own place only.
        plate: line.plate.map_or(-line.pair.0, |p| p.0),
    };
    lines.iter().map(turn).collect()
}

const fn session(line: &TurnLine) -> Session {
    Session {
        from: line.from_at.millisecond(),
        to: line.to_at.millisecond(),
        machine: line.machine,
    }
}

/// What the pairs that have people and a plate lack.
fn needs(plates: &[(PairId, PlateId, String)], here: &[PairId], had: &[(PairId, i64)], wanted: i64) -> Vec<Need> {
    let need = |(pair, plate, _): &(PairId, PlateId, String)| {
        let has = had.iter().find(|(p, _)| p == pair).map_or(0, |(_, n)| *n);
        Need {
            pair: pair.0,
            plate: plate.0,
            turns: u32::try_from(wanted - has).unwrap_or(0),
        }
    };
    plates
        .iter()
        .filter(|(pair, _, _)| here.contains(pair))
        .map(need)
        .collect()
}

/// So many sessions one after another, on each machine.
fn sessions(machines: &[turns::Machine], from: i64, length: i64, count: i64) -> Vec<Session> {
    let row = |row: i64| {
        let from = from + row * length;
        machines.iter().map(move |m| Session {
            from,
            to: from + length,
            machine: m.id,
        })
    };
    (0..count).flat_map(row).collect()
}

/// Gives every pair with a plate the turns that it lacks, within the sessions that there are. What stands already, of
/// other assignments and classes too, stays.
///
/// # Errors
/// When something in it cannot be, or the database cannot be written.
pub async fn plan(service: &Service, wanted: &Wanted<'_>, by: PersonId) -> Result<Planned, TimeError> {
    if !(5..=600).contains(&wanted.minutes) {
        return Err(TimeError::Minutes);
    } else if !(1..=100).contains(&wanted.sessions) {
        return Err(TimeError::Sessions);
    } else if !(1..=20).contains(&wanted.turns) {
        return Err(TimeError::Turns);
    }
    let store = &service.store;
    let assignment = wanted.assignment;
    let machines = turns::machines(store, assignment.class).await?;
    if machines.is_empty() {
        return Err(TimeError::NoMachine);
    }
    let length = wanted.minutes * 60_000;
    let from = wanted.from.millisecond();
    let to = from + length * wanted.sessions;
    let now = service.clock.now();
    let plates = assignments::plates_of(store, assignment.id).await?;
    let mut tx = store.change().await?;
    let here = pairs::ids_of_class(&mut tx, assignment.class).await?;
    let had = turns::counts(&mut tx, assignment.id).await?;
    let needs = needs(&plates, &here, &had, wanted.turns);
    if needs.is_empty() {
        return Err(TimeError::NoPairs);
    }
    let sessions = sessions(&machines, from, length, wanted.sessions);
    let standing = taken(&turns::between(&mut tx, wanted.from, to.into()).await?);
    let rota = rota::rota(&needs, &sessions, &standing);
    for turn in &rota.turns {
        let (pair, session) = (PairId(turn.pair), turn.session);
        turns::add(
            &mut tx,
            session.machine,
            assignment.id,
            pair,
            session.from.into(),
            session.to.into(),
        )
        .await?;
    }
    let detail = serde_json::json!({ "turns": rota.turns.len(), "left": rota.left.len() });
    audit::note(&mut tx, ("assignment", assignment.id.0), "make-rota", by, now, detail).await?;
    tx.commit().await?;
    Ok(Planned {
        given: rota.turns.len(),
        left: rota.left.iter().map(|(_, n)| n).sum(),
        to_add: what_to_add(&rota, (&sessions, &standing), machines.len(), &plates),
    })
}

/// Sessions in which their machine has a turn already, in words.
fn busy(sessions: &[Session], standing: &[Turn]) -> String {
    let is_taken = |s: &&Session| {
        let at = |t: &Turn| t.session.machine == s.machine && t.session.from < s.to && s.from < t.session.to;
        standing.iter().any(at)
    };
    match sessions.iter().filter(is_taken).count() {
        0 => String::new(),
        1 => format!("1 of the {} sessions has a turn already. ", sessions.len()),
        taken => format!("{taken} of the {} sessions have a turn already. ", sessions.len()),
    }
}

fn what_to_add(
    rota: &rota::Rota,
    (sessions, standing): (&[Session], &[Turn]),
    machines: usize,
    plates: &[(PairId, PlateId, String)],
) -> String {
    let crowded: Vec<String> = rota
        .crowded
        .iter()
        .filter_map(|(plate, turns)| {
            let serial = plates.iter().find(|(_, p, _)| p.0 == *plate).map(|(_, _, s)| s)?;
            Some(format!(
                "{turns} turns want the plate {serial}, which can be at one machine at a time"
            ))
        })
        .collect();
    let add = match rota.to_add {
        Some(0) => return String::new(),
        Some(1) if machines == 1 => "Add 1 session.".to_owned(),
        Some(1) => format!("Add 1 session on each of the {machines} machines."),
        Some(more) if machines == 1 => format!("Add {more} sessions."),
        Some(more) => format!("Add {more} sessions on each of the {machines} machines."),
        None => "Add sessions on another evening.".to_owned(),
    };
    let add = busy(sessions, standing) + &add;
    if crowded.is_empty() {
        add
    } else {
        format!("{add} Or give some pairs another plate: {}.", crowded.join("; "))
    }
}

/// Takes back the turns of an assignment that have not begun. Returns how many.
///
/// # Errors
/// When the database cannot be written.
pub async fn clear(service: &Service, assignment: &Assignment, by: PersonId) -> Result<u64, TimeError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let cleared = turns::clear(&mut tx, assignment.id, now).await?;
    audit::note(
        &mut tx,
        ("assignment", assignment.id.0),
        "clear-rota",
        by,
        now,
        serde_json::json!({ "turns": cleared }),
    )
    .await?;
    tx.commit().await?;
    Ok(cleared)
}

/// Swaps two turns of a class that have not begun.
///
/// # Errors
/// When one is gone, or a plate or a pair would be in two places.
pub async fn swap(service: &Service, class: ClassId, one: i64, other: i64) -> Result<(), TimeError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    swap_in(&mut tx, class, one, other, now).await?;
    Ok(tx.commit().await?)
}

async fn swap_in(tx: &mut Tx, class: ClassId, one: i64, other: i64, now: When) -> Result<(), TimeError> {
    let all = turns::between(tx, now, When::from(i64::MAX)).await?;
    let find = |id: i64| {
        all.iter()
            .find(|t| t.id == id && t.class == class && t.from_at > now)
            .ok_or(TimeError::Gone)
    };
    let (one, other) = (find(one)?, find(other)?);
    for (turn, of) in [(one, other), (other, one)] {
        for beside in all.iter().filter(|t| t.id != one.id && t.id != other.id) {
            if !overlap(&session(turn), &session(beside)) {
                continue;
            }
            if beside.pair == of.pair {
                let what = format!("pair {} is at {} at that time", of.pair_name, beside.machine_name);
                return Err(TimeError::Clash(what));
            }
            if beside.plate.is_some() && beside.plate == of.plate {
                let what = format!(
                    "the plate {} is at {} with pair {} at that time",
                    of.serial.as_deref().unwrap_or_default(),
                    beside.machine_name,
                    beside.pair_name
                );
                return Err(TimeError::Clash(what));
            }
        }
    }
    Ok(turns::swap(tx, one, other, now).await?)
}

/// A pair asks for a swap.
///
/// # Errors
/// When one of the turns is gone, the first is not the pair's own, or the database cannot be written.
pub async fn ask(
    service: &Service,
    class: ClassId,
    pair: PairId,
    mine: i64,
    theirs: i64,
    by: PersonId,
) -> Result<(), TimeError> {
    let now = service.clock.now();
    let all = turns::of_class(&service.store, class, now).await?;
    let is_open = |id: i64, own: bool| {
        all.iter()
            .any(|t| t.id == id && t.from_at > now && (t.pair == pair) == own)
    };
    if !is_open(mine, true) || !is_open(theirs, false) {
        return Err(TimeError::Gone);
    }
    let mut tx = service.store.change().await?;
    turns::ask(&mut tx, mine, theirs, by, now).await?;
    Ok(tx.commit().await?)
}

/// The other pair answers.
///
/// # Errors
/// When the wish is not about one of its turns or was answered before, or the swap cannot be.
pub async fn answer(service: &Service, class: ClassId, pair: PairId, wish: i64, yes: bool) -> Result<(), TimeError> {
    let now = service.clock.now();
    let all = turns::of_class(&service.store, class, now).await?;
    let wishes = turns::wishes(&service.store, class).await?;
    let wish = wishes.iter().find(|w| w.id == wish).ok_or(TimeError::Gone)?;
    if !all.iter().any(|t| t.id == wish.theirs && t.pair == pair) {
        return Err(TimeError::Gone);
    }
    let mut tx = service.store.change().await?;
    if !turns::answer(&mut tx, wish.id, yes, now).await? {
        return Err(TimeError::Gone);
    }
    if yes {
        swap_in(&mut tx, class, wish.mine, wish.theirs, now).await?;
    }
    Ok(tx.commit().await?)
}
