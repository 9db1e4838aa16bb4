//! Two people at one thing: the second is told what stands now, keeps what was typed, and may put it in its place.

use platemark::store::assignments::Feedback;

use super::site::Site;

#[tokio::test(flavor = "multi_thread")]
async fn times_and_rules_of_an_assignment() {
    let site = Site::open().await;
    let assignment = site.assign(2, Feedback::Words).await;
    let (one, other) = (site.instructor().await, site.instructor().await);
    let path = format!("/assignments/{assignment}/change");
    let page = one.get(&path).await;
    let seen = page.is(200).field("seen");
    let stands: Vec<(&str, String)> = ["title", "opens", "due", "grace", "per_day", "floor"]
        .into_iter()
        .map(|name| (name, page.field(name)))
        .collect();
    let with = |seen: &str, title: &str, attempts: &str| {
        let mut fields: Vec<(String, String)> = stands.iter().map(|(n, v)| ((*n).to_owned(), v.clone())).collect();
        fields[0].1 = title.to_owned();
        for (name, value) in [
            ("do", "change"),
            ("seen", seen),
            ("attempts", attempts),
            ("counting", "best"),
            ("feedback", "words"),
            ("marks", ""),
        ] {
            fields.push((name.to_owned(), value.to_owned()));
        }
        fields
    };
    let send = async |browser: &super::site::Browser, fields: Vec<(String, String)>| {
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        browser.send(&path, &fields).await
    };
    send(&other, with(&seen, "First title", "4")).await.is(200);
    let told = send(&one, with(&seen, "Second title", "3")).await;
    told.is(409)
        .has("here stands First title now")
        .has("here stands 4 now")
        .has("value=\"Second title\"")
        .has("value=\"3\"");
    one.get(&path).await.has("value=\"First title\"");
    // Sent again with what was seen now, it takes the place.
    send(&one, with(&told.field("seen"), "Second title", "3")).await.is(200);
    one.get(&path).await.has("value=\"Second title\"");
}

#[tokio::test(flavor = "multi_thread")]
async fn weights_and_drops() {
    let site = Site::open().await;
    site.assign(2, Feedback::Words).await;
    let (one, other) = (site.instructor().await, site.instructor().await);
    let path = format!("/classes/{}/gradebook/rules", site.class);
    let seen = one.get(&path).await.is(200).field("seen");
    let fields = |seen: &str, weight: &str, drops: &str| {
        [("seen", seen), ("weight-1", weight), ("drops", drops)].map(|(n, v)| (n.to_owned(), v.to_owned()))
    };
    let send = async |browser: &super::site::Browser, fields: [(String, String); 3]| {
        let fields = [0, 1, 2].map(|i| (fields[i].0.as_str(), fields[i].1.as_str()));
        browser.send(&path, &fields).await
    };
    send(&other, fields(&seen, "2", "1")).await.is(200);
    let told = send(&one, fields(&seen, "3", "0")).await;
    told.is(409)
        .has("here stands weight 2, photo or PDF not wanted, now")
        .has("here stands 1 now")
        .has("value=\"3\"");
    send(&one, fields(&told.field("seen"), "3", "0")).await.is(200);
    one.get(&path).await.has("value=\"3\"");
}

#[tokio::test(flavor = "multi_thread")]
async fn label_and_place_of_a_plate() {
    let site = Site::open().await;
    let (one, other) = (site.instructor().await, site.instructor().await);
    let plate = "/exercises/1/plates/1";
    let drawer = format!("{plate}/drawer");
    let seen = one.get(plate).await.is(200).field("seen");
    let place =
        |seen: &'static str, place: &'static str| [("act", "place"), ("seen", seen), ("label", ""), ("place", place)];
    let seen: &'static str = seen.leak();
    other.send(&drawer, &place(seen, "shelf 2")).await.is(200);
    let told = one.send(&drawer, &place(seen, "shelf 7")).await;
    told.is(409).has("here stands shelf 2 now").has("value=\"shelf 7\"");
    let seen: &'static str = told.field("seen").leak();
    one.send(&drawer, &place(seen, "shelf 7"))
        .await
        .is(200)
        .has("value=\"shelf 7\"");
}
