//! An instructor assigns, looks at reports and releases marks.

use platemark::store::assignments::Feedback;

use super::site::{DAY, Site, shipped};

#[tokio::test(flavor = "multi_thread")]
async fn from_assigning_to_the_gradebook() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let class = format!("/classes/{}", site.class);

    let form = instructor.get(&format!("{class}/assign")).await;
    form.is(200).has("SB-11");
    let (opens, due) = (form.field("opens"), form.field("due"));
    let exercise = site.exercise.to_string();
    let mut fields = vec![
        ("exercise", exercise.as_str()),
        ("plates", "physical"),
        ("title", "The step block"),
        ("opens", opens.as_str()),
        ("due", due.as_str()),
        ("attempts", "2"),
        ("counting", "best"),
        ("grace", "15"),
        ("per_day", "10"),
        ("floor", "50"),
        ("feedback", "words"),
    ];
    let page = instructor.send(&format!("{class}/assign"), &fields).await;
    page.is(200)
        .has("The step block")
        .has("0 of 2 pairs have handed in")
        .has("SB-11-01")
        .has("SB-11-02");

    // The class page and the gradebook know it.
    instructor.get(&class).await.has("The step block");
    instructor
        .get(&format!("{class}/gradebook"))
        .await
        .has("The step block")
        .has("open");

    // A due time before the opening is sent back with what was typed.
    fields[4] = ("due", "2020-01-01T10:00");
    fields[2] = ("title", "Kept as typed");
    let page = instructor.send(&format!("{class}/assign"), &fields).await;
    page.is(422)
        .has("The due time must come after the opening")
        .has("Kept as typed")
        .has("2020-01-01T10:00");
    fields[4] = ("due", "tomorrow");
    fields[5] = ("attempts", "many");
    let page = instructor.send(&format!("{class}/assign"), &fields).await;
    page.is(422)
        .has("Write date and time as in")
        .has("Write a whole number")
        .has("2 things to mend");
    instructor.get(&class).await.has_not("Kept as typed");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_report_is_graded_and_its_mark_released() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let pair = site.pair("A").await;
    let result = pair
        .hand_in(assignment, &shipped("SB-11/reports/SB-11-01--careful.csv"))
        .await;
    result
        .is(200)
        .has("The mark appears here when your instructor releases it");

    let instructor = site.instructor().await;
    let page = instructor.get(&format!("/assignments/{assignment}")).await;
    page.is(200)
        .has("1 of 2 pairs have handed in")
        .has("lines to mark by hand");
    let report = page
        .body
        .split("href=\"/reports/")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .to_owned();

    let page = instructor.get(&format!("/reports/{report}")).await;
    page.is(200)
        .has("Pair A")
        .has("<svg")
        .has("Marked by hand")
        .has("revision 1 of the plate");
    let marked = format!("/reports/{report}/hand-marks");
    instructor
        .send(&marked, &[("points-0", "11")])
        .await
        .is(422)
        .has("Write a number from 0 to 10")
        .has("value=\"11\"");
    instructor
        .send(&marked, &[("points-0", "9,5")])
        .await
        .is(200)
        .has("9.5")
        .has("marked lines by hand");

    let gradebook = instructor.get(&format!("/classes/{}/gradebook", site.class)).await;
    let mark = gradebook
        .body
        .split(&format!("<a href=\"/reports/{report}\">"))
        .nth(1)
        .unwrap();
    let mark = mark.split('<').next().unwrap().to_owned();
    assert!(mark.parse::<f64>().unwrap() > 90.0, "{mark}");

    // The pair sees the mark from the release on, and not before.
    pair.get(&result.path).await.has_not(&format!("{mark}</span> of 100"));
    let page = instructor
        .send(&format!("/assignments/{assignment}/release"), &[])
        .await;
    page.is(200)
        .has("The marks were released on")
        .has("released the marks")
        .has_not("Release the marks</button>");
    pair.get(&result.path).await.has(&mark);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_late_is_charged_and_what_is_missing_is_said() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let careful = shipped("SB-11/reports/SB-11-01--careful.csv");
    site.pair("A").await.hand_in(assignment, &careful).await.is(200);
    let gradebook = || async {
        site.instructor()
            .await
            .get(&format!("/classes/{}/gradebook", site.class))
            .await
    };
    gradebook()
        .await
        .has_not(">late</span>")
        .has_not(">missing</span>")
        .has("open");
    site.service.clock.put_forward(8 * DAY);
    gradebook().await.has(">missing</span>");
    // One day and some hours late: two days begun, at 10 per cent each.
    site.service.clock.put_forward(DAY / 4);
    site.pair("B")
        .await
        .hand_in(assignment, &careful.replace("SB-11-01", "SB-11-02"))
        .await
        .is(200)
        .has("late");
    let page = site.instructor().await.get(&format!("/assignments/{assignment}")).await;
    page.has("30 hours late");
    let report = page
        .body
        .rsplit("href=\"/reports/")
        .next()
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .to_owned();
    site.instructor()
        .await
        .get(&format!("/reports/{report}"))
        .await
        .has("Late, 2 days begun: 20 per cent");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plate_is_withdrawn_and_opened() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let page = instructor.get(&format!("/exercises/{}", site.exercise)).await;
    page.is(200).has("SB-11-01").has("<svg");
    let path = page
        .body
        .split("href=\"")
        .find(|l| l.contains("/plates/"))
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .to_owned();
    instructor.get(&path).await.is(200).has("in service");
    instructor
        .send(&path, &[("saying", "withdraw")])
        .await
        .is(200)
        .has("withdrawn");
    instructor
        .send(&path, &[("saying", "open")])
        .await
        .is(200)
        .has("open to pairs");
    instructor
        .send(&path, &[("saying", "close")])
        .await
        .is(200)
        .has_not("open to pairs)");
    instructor
        .send(&path, &[("saying", "put-in-service")])
        .await
        .is(200)
        .has("in service");
    instructor.send(&path, &[("saying", "melt down")]).await.is(404);
}
