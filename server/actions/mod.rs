//! One file per thing that a person does: store and pure floors, no HTTP.

/// What a person does with the account.
pub mod account;
/// Keeps a photo or PDF beside a report.
pub mod add_evidence;
/// Adds a person who can sign in.
pub mod add_person;
/// Adjusts the mark of one student.
pub mod adjust;
/// Searches graded reports for reasons to look at them.
pub mod attention;
/// Keeps what an author has typed so far, with every step of it.
pub mod author_exercise;
/// What reports are graded from besides their numbers.
mod basis;
/// What is still to be graded.
pub mod behind;
/// The bench now.
pub mod bench;
/// What is done with an assignment once it is made.
pub mod care;
/// Who is in charge of a person's account.
pub mod charge;
/// What time it is.
pub mod clock;
/// Confirms and rejects faults of a report; takes the answer to a check.
pub mod decide_faults;
/// The end of a term.
pub mod end_of_term;
/// The line of reports that wait for their first grade.
pub mod fresh;
/// Grades a stored report.
pub mod grade_report;
/// The gradebook of a class.
pub mod gradebook;
/// Takes a pair's report.
pub mod hand_in_report;
/// Takes an exercise folder.
pub mod import_exercise;
/// Keeps what a pair has typed so far.
pub mod keep_draft;
/// Exercises and plates from their stored text.
pub mod load;
/// A rota, and turns that pairs swap.
pub mod machine_time;
/// Makes an assignment and spreads plates.
pub mod make_assignment;
/// Makes a class with its pairs.
pub mod make_class;
/// Gives points for lines marked by hand.
pub mod mark_by_hand;
/// What a pair may see of its graded report.
pub mod my_result;
/// Reports on another plate than the pair was given.
pub mod other_plate;
/// Puts students into pairs.
pub mod pair_up;
/// Whether a passphrase is easily guessed.
pub mod passphrase;
/// People of a class, one at a time.
pub mod people_of_class;
/// Plates out and in, dropped and put back.
pub mod plate_drawer;
/// Takes a plate out of service, or opens it.
pub mod plate_state;
/// What plates really are: proposed, planted, calibrated.
pub mod plate_truth;
/// Makes a revision of what an author has typed.
pub mod publish_exercise;
/// Rounds of careful measurement.
pub mod reference_rounds;
/// Grades again after something was corrected.
pub mod regrade;
/// Releases the marks of an assignment.
pub mod release_marks;
/// Puts a backup in the place of a school from a page.
pub mod restore;
/// What people add to a computed grade.
pub mod review;
/// Reports that wait for a person, in order of need.
pub mod review_queue;
/// Takes a roster into a class.
pub mod roster;
/// Has a program look through files before they are kept.
pub mod scan;
/// The line of graded reports that wait to be searched.
pub mod searches;
/// The second step at sign-in.
pub mod second_step;
/// Hashes secrets and checks them, off the async threads.
pub mod secrets;
/// Signs a person in and out; says whose a token is.
pub mod sign_in;
/// Late rule and counting attempts.
pub mod standing;
/// Printed slips, and the taking of a seat.
pub mod take_seat;
/// Times and rules of an assignment.
pub mod terms;

use std::sync::Arc;

use tokio::sync::{Mutex, Semaphore};

use crate::config::Scan;
use crate::store::Store;

use clock::Clock;
use secrets::Secrets;

/// What actions work with; cheap to clone.
#[derive(Debug, Clone)]
pub struct Service {
    /// The database of the school.
    pub store: Store,
    /// Hashing of secrets.
    pub secrets: Secrets,
    /// Tries to sign in that wait to be counted.
    pub try_line: sign_in::TryLine,
    /// What time it is.
    pub clock: Clock,
    /// How long sessions last.
    pub sessions: Arc<sign_in::Lasting>,
    /// Exercises and plates that were read already.
    pub known: load::Known,
    /// How many processors there are.
    pub processors: usize,
    /// Places for computing grades, one for each processor.
    pub grading: Arc<Semaphore>,
    /// Held from reading what a grade is computed from until it is stored, by whatever grades again: otherwise one could take the
    /// place of another that knows more. First grades need it not; they take no place.
    pub regrading: Arc<Mutex<()>>,
    /// Whether something could not be graded.
    pub behind: behind::Behind,
    /// Reports that wait for their first grade.
    pub fresh: fresh::FreshLine,
    /// Graded reports that wait to be searched for reasons to look at them.
    pub searches: searches::Searches,
    /// What looks through photos and PDFs before they are kept, where the school names something.
    pub scanner: Option<Arc<scan::Scanner>>,
}

impl Service {
    /// Puts the pieces together.
    #[must_use]
    pub fn new(store: Store, clock: Clock, sessions: sign_in::Lasting) -> Self {
        let processors = std::thread::available_parallelism().map_or(1, usize::from);
        Self {
            store,
            secrets: Secrets::new(),
            try_line: sign_in::TryLine::default(),
            clock,
            sessions: Arc::new(sessions),
            known: load::Known::default(),
            processors,
            grading: Arc::new(Semaphore::new(processors)),
            regrading: Arc::default(),
            behind: behind::Behind::default(),
            fresh: fresh::FreshLine::default(),
            searches: searches::Searches::default(),
            scanner: None,
        }
    }

    /// The same where photos and PDFs are looked through before they are kept.
    #[must_use]
    pub fn with_scan(self, scan: Option<Scan>) -> Self {
        let scanner = scan.map(|scan| Arc::new(scan::Scanner::new(scan, self.processors)));
        Self { scanner, ..self }
    }
}
