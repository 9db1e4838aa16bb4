//! The main pages, with something on each of them.

use platemark::store::assignments::Feedback;

use super::window::Window;
use crate::stories::site::{PASSPHRASE, PIN, Site, shipped};

/// A school in which pair A has handed in twice, once with words and once with everything to see.
pub(super) struct School {
    pub(super) site: Site,
    student: Vec<String>,
    instructor: Vec<String>,
}

/// The pages of a class.
const OF_CLASS: [&str; 9] = [
    "",
    "/gradebook",
    "/review",
    "/assign",
    "/people",
    "/pairs",
    "/machines",
    "/bench",
    "/end-of-term",
];

impl School {
    pub(super) async fn open() -> Self {
        let site = Site::open().await;
        let (words, full) = (
            site.assign(3, Feedback::Words).await,
            site.assign(3, Feedback::Full).await,
        );
        let pair = site.pair("A").await;
        let mut reports = Vec::new();
        for (assignment, name) in [(words, "poor-calls"), (full, "restless")] {
            let csv = shipped(&format!(
                "SB-11/reports/SB-11-0{}--{name}.csv",
                if name == "restless" { 1 } else { 2 }
            ));
            reports.push(pair.hand_in(assignment, &csv).await.is(200).path.clone());
        }
        let instructor = site.instructor().await;
        let exercise = format!("/exercises/{}", site.exercise);
        let page = instructor.get(&exercise).await;
        let plate = page
            .is(200)
            .body
            .split('"')
            .find(|p| p.starts_with(&format!("{exercise}/plates/")));
        let plate = plate.unwrap().to_owned();
        instructor.send(&plate, &[("saying", "open")]).await.is(200);
        pair.get(&reports[1]).await.has("What was off, as reported");

        let class = format!("/classes/{}", site.class);
        let own = format!("/my/{words}");
        let student = ["", "/lab-sheet", "/entry", "/entry/3"].map(|page| format!("{own}{page}"));
        let student = [vec!["/my".to_owned()], student.to_vec(), reports.clone()].concat();
        let mut paths: Vec<String> = ["/classes", "/exercises", "/exercises/import"]
            .map(str::to_owned)
            .to_vec();
        paths.extend(OF_CLASS.map(|page| format!("{class}{page}")));
        let students = format!("{class}/students/");
        let page = instructor.get(&format!("{class}/gradebook?by=students")).await;
        let one = page.is(200).body.split('"').find(|p| p.starts_with(&students));
        paths.push(one.unwrap().to_owned());
        paths.extend(["/restore", "/account", "/account/second-step", "/priors"].map(str::to_owned));
        paths.push(format!("/assignments/{words}/change"));
        paths.extend(reports.iter().map(|report| report.replacen("/my", "", 1)));
        let draft = instructor
            .send(&format!("{exercise}/edit"), &[])
            .await
            .is(200)
            .path
            .clone();
        paths.extend(["", "/table", "/history"].map(|page| format!("{draft}{page}")));
        paths.extend(["/exercises/new".to_owned(), format!("{exercise}/revisions")]);
        paths.extend(plate_pages(&exercise, &plate));
        paths.push(format!("/assignments/{words}/regrade"));
        paths.extend([exercise, plate, format!("/assignments/{words}")]);
        Self {
            site,
            student,
            instructor: paths,
        }
    }

    /// Opens every page in turn, as somebody who may, and looks at it.
    pub(super) async fn each(&self, window: &Window, mut look: impl AsyncFnMut(&str)) {
        let visits = [
            (None, vec!["/sign-in".to_owned()]),
            (Some(("anna", PIN)), self.student.clone()),
            (Some(("ferro", PASSPHRASE)), self.instructor.clone()),
        ];
        for (who, paths) in visits {
            if let Some((name, secret)) = who {
                window.sign_in(name, secret).await;
            }
            for path in paths {
                window.go(&path).await;
                window.on("main h1").await;
                assert_eq!(window.path().await, path);
                look(&path).await;
                if path.ends_with("/entry") {
                    // The same page as it comes back with something to mend.
                    window.fill("#f-m-1", "about nothing").await;
                    window.click("button[value='hand-in']").await;
                    window.on("#f-m-1[aria-invalid='true']").await;
                    look(&format!("{path}, to mend")).await;
                }
            }
        }
    }
}

/// The pages of plates.
fn plate_pages(exercise: &str, plate: &str) -> Vec<String> {
    let mut paths: Vec<String> = ["/planted", "/certificate", "/rounds", "/rounds/new", "/regrade"]
        .map(|page| format!("{plate}{page}"))
        .to_vec();
    paths.extend(["/plates".to_owned(), format!("{exercise}/plates/propose")]);
    paths
}
