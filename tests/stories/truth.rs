//! What a plate really is does not reach a student before it may.

use platemark::store::assignments::Feedback;

use super::site::{Browser, Site, shipped};

/// Every reference value of the plate that pair A measures, as the file writes it.
fn references() -> Vec<String> {
    let plates: toml::Table = shipped("SB-11/plates.toml").parse().unwrap();
    let plate = &plates["plate"].as_array().unwrap()[0];
    let values = plate["reference"].as_table().unwrap().values();
    let values: Vec<String> = values
        .map(|v| v["value"].to_string())
        .filter(|v| v.len() >= 6)
        .collect();
    assert!(values.len() > 5, "{values:?}");
    values
}

/// Every page that can be reached by links from the student's first page.
async fn all_pages(student: &Browser) -> Vec<(String, String)> {
    let mut waiting = vec!["/my".to_owned()];
    let mut seen = std::collections::BTreeMap::new();
    while let Some(path) = waiting.pop() {
        if seen.contains_key(&path) {
            continue;
        }
        let page = student.get(&path).await;
        let links = page.body.split("href=\"").skip(1).filter_map(|l| l.split('"').next());
        waiting.extend(
            links
                .filter(|l| l.starts_with('/') && !l.contains('#'))
                .map(str::to_owned),
        );
        seen.insert(path, page.body);
    }
    seen.into_iter().collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn no_page_of_a_student_has_a_reference_value() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Full).await;
    let student = site.pair("A").await;
    student
        .hand_in(assignment, &shipped("SB-11/reports/SB-11-01--restless.csv"))
        .await
        .is(200);
    let instructor = site.instructor().await;
    instructor
        .send(&format!("/assignments/{assignment}/release"), &[])
        .await
        .is(200);
    let pages = all_pages(&student).await;
    assert!(
        pages.len() >= 5,
        "{:?}",
        pages.iter().map(|(p, _)| p).collect::<Vec<_>>()
    );
    for (path, body) in &pages {
        for value in references() {
            assert!(!body.contains(value.trim_start_matches('-')), "{path} has {value}");
        }
    }
    // It would have been found: the instructor's page of the same report has them.
    let report = instructor.get("/reports/1").await.body;
    assert!(
        references()
            .iter()
            .filter(|v| report.contains(v.trim_start_matches('-')))
            .count()
            > 5
    );
}
