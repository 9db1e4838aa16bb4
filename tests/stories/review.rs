//! The instructor reviews the few reports that need a person; the pair asks and reads.

use std::time::Duration;

use platemark::store::assignments::Feedback;

use super::site::{Answer, Browser, Site, shipped};

fn careful() -> String {
    shipped("SB-11/reports/SB-11-01--careful.csv")
}

/// Does one thing beside a report.
async fn review(browser: &Browser, report: &str, button: &str, fields: &[(&str, &str)]) -> Answer {
    let fields = [fields, &[("do", button)]].concat();
    browser.send(&format!("/reports/{report}/review"), &fields).await
}

/// Hands in and says which report it became.
async fn report_of(browser: &Browser, assignment: platemark::store::ids::AssignmentId, csv: &str) -> String {
    let page = browser.hand_in(assignment, csv).await;
    page.is(200).path.rsplit('/').next().unwrap().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pair_asks_and_is_answered() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let (pair, instructor) = (site.pair("A").await, site.instructor().await);
    let report = report_of(&pair, assignment, &careful()).await;
    let mine = format!("/my/reports/{report}");
    pair.get(&mine).await.has("Ask about the mark");
    let ask = [("no", "5"), ("text", "Is <number 5> not conforming?")];
    let query = format!("{mine}/query");
    // Sent twice, as by a double tap: one question.
    pair.send(&query, &ask).await.is(200);
    let page = pair.send(&query, &ask).await;
    assert_eq!(page.body.matches("not conforming?").count(), 1);
    page.has("Is &#60;number 5&#62; not").has("No answer yet");
    pair.send(&query, &[("text", "  ")])
        .await
        .is(422)
        .has("Write your question");
    // The other pair can neither ask nor read.
    site.pair("B").await.send(&query, &ask).await.is(404);

    let class = site.class;
    let queue = instructor.get(&format!("/classes/{class}/review")).await;
    queue
        .is(200)
        .has("the pair asks about its mark")
        .has(&format!("/reports/{report}"));
    let page = instructor.get(&format!("/reports/{report}")).await;
    page.has("1 of 1 that wait").has("not conforming?");
    review(&instructor, &report, "answer:1", &[("answer-1", "")])
        .await
        .is(422)
        .has("Write at least one word");
    review(&instructor, &report, "answer:99", &[("answer-99", "Yes.")])
        .await
        .is(409);
    let page = review(
        &instructor,
        &report,
        "answer:1",
        &[("answer-1", "It is; see the rule.")],
    )
    .await;
    page.is(200).has("It is; see the rule.").has("Take the answer back");
    pair.get(&mine)
        .await
        .has("It is; see the rule.")
        .has_not("No answer yet");
    instructor
        .get(&format!("/classes/{class}/review"))
        .await
        .has_not("the pair asks");
    // Taken back, it waits again.
    review(&instructor, &report, "take-answer-back:1", &[]).await.is(200);
    pair.get(&mine).await.has("No answer yet");
    instructor
        .get(&format!("/classes/{class}/review"))
        .await
        .has("the pair asks");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mark_is_set_with_a_reason_and_taken_back() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let (pair, instructor) = (site.pair("A").await, site.instructor().await);
    let report = report_of(&pair, assignment, &careful()).await;
    let (mine, gradebook) = (
        format!("/my/reports/{report}"),
        format!("/classes/{}/gradebook", site.class),
    );
    for (fields, words) in [
        ([("mark", "101"), ("reason", "too good")], "from 0 to 100"),
        ([("mark", "72.25"), ("reason", "too exact")], "at most one decimal"),
        ([("mark", "72"), ("reason", " ")], "at least one word"),
    ] {
        let page = review(&instructor, &report, "set-mark", &fields).await;
        page.is(422).has(words).has("the rest is kept");
        assert_eq!(page.field("mark"), fields[0].1);
    }
    instructor.get(&gradebook).await.has_not(">72.5<");
    let set = [("mark", "72,5"), ("reason", "The probe was <bent>.")];
    let page = review(&instructor, &report, "set-mark", &set).await;
    page.is(200)
        .has("Set to 72.5 by a person: The probe was &#60;bent&#62;.")
        .has("set the mark to 72.5");
    instructor.get(&gradebook).await.has(">72.5<");
    // Not before the release.
    pair.get(&mine).await.has_not("72.5").has_not("bent");
    instructor
        .send(&format!("/assignments/{assignment}/release"), &[])
        .await
        .is(200);
    pair.get(&mine).await.has("72.5");
    let page = review(&instructor, &report, "take-mark-back", &[]).await;
    page.is(200).has("took the set mark back").has_not("Set to 72.5");
    review(&instructor, &report, "take-mark-back", &[])
        .await
        .is(409)
        .has("not there any more");
    instructor.get(&gradebook).await.has_not(">72.5<");
    pair.get(&mine).await.has_not("72.5");
}

#[tokio::test(flavor = "multi_thread")]
async fn words_to_the_pair_are_read_and_withdrawn() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let (pair, instructor) = (site.pair("A").await, site.instructor().await);
    let report = report_of(&pair, assignment, &careful()).await;
    let mine = format!("/my/reports/{report}");
    review(&instructor, &report, "remark", &[("remark", "Clean work.")])
        .await
        .is(200);
    pair.get(&mine).await.has("Clean work.");
    let page = review(&instructor, &report, "withdraw:1", &[]).await;
    page.is(200).has("withdrew a remark");
    pair.get(&mine).await.has_not("Clean work.");
}

/// Two pairs with the same digits on two plates: a matter for a person, and the marks stand.
#[tokio::test(flavor = "multi_thread")]
async fn the_same_digits_wait_for_a_person() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let (a, b) = (site.pair("A").await, site.pair("B").await);
    let first = report_of(&a, assignment, &careful()).await;
    let before = site.instructor().await;
    before
        .get(&format!("/classes/{}/review", site.class))
        .await
        .has_not("same digits");
    let second = report_of(&b, assignment, &careful()).await;
    let instructor = site.instructor().await;
    let queue = format!("/classes/{}/review", site.class);
    let page = instructor.get(&queue).await;
    assert_eq!(
        page.body.matches("the same digits as another pair").count(),
        2,
        "{}",
        page.body
    );
    let page = instructor.get(&format!("/reports/{second}")).await;
    page.has(&format!("href=\"/reports/{first}\""))
        .has("values are the same");
    // No student and no export is told.
    for (pair, report) in [(&a, &first), (&b, &second)] {
        pair.get(&format!("/my/reports/{report}"))
            .await
            .has_not("same digits")
            .has_not("the same; among");
    }
    instructor
        .get(&format!("/classes/{}/gradebook", site.class))
        .await
        .has_not("same digits");
    // Graded again it is not found anew once somebody is done with it.
    for report in [&first, &second] {
        review(&instructor, report, "done", &[]).await.is(200);
    }
    site.service.clock.put_forward(Duration::from_secs(60));
    instructor
        .send(&format!("/assignments/{assignment}/grade-again"), &[])
        .await
        .is(200);
    instructor.get(&queue).await.has_not("same digits");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_queue_is_worked_through_from_report_to_report() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let (a, b) = (site.pair("A").await, site.pair("B").await);
    let report = report_of(&a, assignment, &careful()).await;
    let other = report_of(&b, assignment, &shipped("SB-11/reports/SB-11-02--poor-calls.csv")).await;
    for (pair, report) in [(&a, &report), (&b, &other)] {
        pair.send(&format!("/my/reports/{report}/query"), &[("text", "Why?")])
            .await
            .is(200);
    }
    let instructor = site.instructor().await;
    let queue = format!("/classes/{}/review", site.class);
    let page = instructor.get(&queue).await;
    let links: Vec<&str> = page
        .body
        .split("<th scope=\"row\"><a href=\"/reports/")
        .skip(1)
        .collect();
    assert_eq!(links.len(), 2);
    let (first, last) = (links[0].split('"').next().unwrap(), links[1].split('"').next().unwrap());
    for (id, report) in [(first, "1"), (last, "2")] {
        review(
            &instructor,
            id,
            &format!("answer:{}", if id == "1" { 1 } else { 2 }),
            &[(&format!("answer-{}", if id == "1" { 1 } else { 2 }), report)],
        )
        .await
        .is(200);
    }
    // Done with the first leads to what still waits, or to the queue; it can be taken back there.
    let page = review(&instructor, first, "done", &[]).await;
    page.is(200).has("You are done with the report before this");
    let page = review(&instructor, first, "not-done", &[]).await;
    page.is(200).has("took “done” back");
    review(&instructor, first, "not-done", &[]).await.is(409);
}

/// An assistant reviews, and no page of the assistant hangs on what the plate is.
#[tokio::test(flavor = "multi_thread")]
async fn an_assistant_reviews_without_the_truth() {
    let site = Site::open().await;
    let assignment = site.assign(1, Feedback::Words).await;
    let report = report_of(&site.pair("A").await, assignment, &careful()).await;
    let assistant = site.assistant().await;
    let page = assistant.get(&format!("/reports/{report}")).await;
    page.is(200)
        .has("with the plate")
        .has_not("off by")
        .has_not("data-head=\"plate\"");
    let instructor = site.instructor().await.get(&format!("/reports/{report}")).await;
    // What the instructor reads of the plate stands nowhere on the assistant's page.
    let mut references = 0;
    for cell in instructor
        .body
        .split("<td class=\"num pencil\" data-head=\"plate\">")
        .skip(1)
    {
        let reference = cell.split('<').next().unwrap();
        if reference.chars().filter(char::is_ascii_digit).count() >= 4 {
            references += 1;
            page.has_not(&format!(">{reference}<"));
        }
    }
    assert!(references > 10, "{references}");
    assert!(!page.body.contains("pl-reference"));
    let set = [("mark", "80"), ("reason", "Good.")];
    review(&assistant, &report, "set-mark", &set).await.is(403);
    review(&assistant, &report, "remark", &[("remark", "Looks right.")])
        .await
        .is(200);
    assistant
        .get(&format!("/classes/{}/review", site.class))
        .await
        .is(200)
        .has_not("in doubt");
    assistant.get(&format!("/reports/{report}/source")).await.is(200);
}
