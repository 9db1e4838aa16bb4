//! Grading all reports of a class again after the references of their plates were corrected, as pages do it: decided on,
//! graded in the background, followed from outside. The new revisions say the same as the old ones: that takes as long.

use std::time::{Duration, Instant};

use platemark::actions::regrade::{Change, begin};
use platemark::store::ids::{PersonId, PlateId, PlateRevisionId};
use platemark::store::{exercises, plates, regrades};

use crate::fill::{self, ASSIGNMENTS, PAIRS};
use crate::{Line, folder};

/// How often the progress is asked for.
const PAUSE: Duration = Duration::from_millis(20);

pub(crate) async fn measure() -> Vec<Line> {
    let school = fill::first(&folder("regrade")).await;
    let service = &school.service;
    service.searches.settled().await;
    let exercise = exercises::list(&service.store).await.unwrap()[0].id;
    let all: Vec<(PlateId, PlateRevisionId, String)> = plates::of_exercise(&service.store, exercise)
        .await
        .unwrap()
        .into_iter()
        .map(|line| (line.id, line.revision, line.truth))
        .collect();
    // The first person is the instructor.
    let by = PersonId(1);
    let mut tx = service.store.change().await.unwrap();
    for (plate, _, truth) in &all {
        plates::add_truth(&mut tx, *plate, truth, service.clock.now(), Some(by))
            .await
            .unwrap();
    }
    tx.commit().await.unwrap();
    let (mut taken, mut count, mut seen) = (Duration::ZERO, 0, 0);
    for (plate, ..) in &all {
        let begun = Instant::now();
        let regrade = begin(service, &Change::Reference(*plate), by).await.unwrap();
        loop {
            let now = regrades::one(&service.store, regrade).await.unwrap().unwrap();
            if now.finished_at.is_some() {
                break;
            }
            seen += 1;
            tokio::time::sleep(PAUSE).await;
        }
        taken += begun.elapsed();
        count += regrades::lines(&service.store, regrade).await.unwrap().len();
    }
    assert_eq!(count, PAIRS * ASSIGNMENTS);
    let seconds = taken.as_secs_f64();
    school.service.store.close().await;
    vec![Line::new(
        format!("graded again after a changed reference, {count} reports"),
        format!("{seconds:.2} s"),
        format!("{} plates; the progress was asked for {seen} times", all.len()),
        "< 2 s",
        seconds < 2.0,
    )]
}
