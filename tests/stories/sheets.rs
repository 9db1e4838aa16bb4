//! Sheets to print: for the lab, for the shop, labels.

use platemark::store::assignments::Feedback;

use super::site::{Site, shipped};

#[tokio::test(flavor = "multi_thread")]
async fn an_instructor_prints_a_lab_sheet_of_any_revision_on_a4_or_letter() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let sheet = format!("/exercises/{}/lab-sheet", site.exercise);
    let page = instructor.get(&sheet).await;
    page.is(200)
        .has("a4-drawn")
        .has("touch the left face from the left, once")
        .has("Cautions");
    instructor
        .get(&format!("{sheet}?revision=1&paper=letter"))
        .await
        .is(200)
        .has("letter-drawn");
    instructor.get(&format!("{sheet}?revision=99")).await.is(404);
}

/// Plate SB-11-01 has its first hole planted at x - 0.082 and its diameter + 0.054: 15.918 and 8.054 (its plates.toml).
#[tokio::test(flavor = "multi_thread")]
async fn the_shop_sheet_has_what_is_to_be_made_and_nobody_else_sees_it() {
    let site = Site::open().await;
    let assignment = site.assign(3, Feedback::Words).await;
    let instructor = site.instructor().await;
    let shop = format!("/exercises/{}/plates/1/shop-sheet", site.exercise);
    instructor
        .get(&shop)
        .await
        .is(200)
        .has("Secret")
        .has("<b>15.918</b>")
        .has("print 16.000")
        .has("<b>8.054</b>");
    let pair = site.pair("A").await;
    pair.get(&shop).await.is(403);
    let sheet = pair.get(&format!("/my/{assignment}/lab-sheet")).await;
    sheet.is(200).has("SB-11-01").has_not("15.918").has_not("8.054");
}

#[tokio::test(flavor = "multi_thread")]
async fn labels_say_which_plate_it_is_and_nothing_of_what_it_is() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let labels = instructor.get(&format!("/exercises/{}/labels", site.exercise)).await;
    labels.is(200).has("SB-11-01").has("SB-11-02").has_not("SB-11-V");
    let plates: toml::Table = shipped("SB-11/plates.toml").parse().unwrap();
    let values = plates["plate"].as_array().unwrap()[0]["reference"].as_table().unwrap();
    for value in values.values().map(|v| v["value"].to_string()) {
        labels.has_not(value.trim_start_matches('-'));
    }
}
