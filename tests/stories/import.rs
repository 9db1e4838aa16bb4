//! An instructor brings an exercise in from its files.

use reqwest::multipart::{Form, Part};

use super::site::{Site, shipped};

fn file(name: &str, bytes: impl Into<std::borrow::Cow<'static, [u8]>>) -> Part {
    Part::bytes(bytes).file_name(name.to_owned())
}

fn both(exercise: String, plates: String) -> Form {
    Form::new()
        .part("exercise", file("exercise.toml", exercise.into_bytes()))
        .part("plates", file("plates.toml", plates.into_bytes()))
}

#[tokio::test(flavor = "multi_thread")]
async fn an_exercise_comes_in_with_its_plates_and_again_as_a_revision() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let (exercise, plates) = (shipped("JP-14/exercise.toml"), shipped("JP-14/plates.toml"));
    let page = instructor
        .send_files("/exercises/import", both(exercise.clone(), plates.clone()))
        .await;
    page.is(200)
        .has("JP-14</a> is imported")
        .has("JP-14-01")
        .has("JP-14-V3");
    instructor.get("/exercises").await.has("JP-14").has("SB-11");

    let page = instructor
        .send_files("/exercises/import", both(exercise.clone(), plates.clone()))
        .await;
    page.is(200).has("the same as before");

    let changed = exercise.replace("none_beyond = 3.0", "none_beyond = 3.5") + "\n# corrected\n";
    let moved = plates.replacen("shop_uncertainty = 0.02", "shop_uncertainty = 0.03", 1);
    let page = instructor
        .send_files("/exercises/import", both(changed, moved.clone()))
        .await;
    page.is(200).has("is imported");
    if moved != plates {
        page.has("Plates revised");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_problem_is_listed_with_its_place_and_nothing_is_stored() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let exercise = shipped("CP-23/exercise.toml")
        .replacen("tolerance", "tolerence", 1)
        .replacen("decimals = 3", "decimals = 9", 1);
    let page = instructor
        .send_files("/exercises/import", both(exercise, shipped("CP-23/plates.toml")))
        .await;
    page.is(422)
        .has("Nothing was stored")
        .has("tolerence")
        .has("exercise.toml, line")
        .has("decimals");
    instructor.get("/exercises").await.has_not("CP-23");

    // A good exercise with bad plates is not stored by half either.
    let plates = shipped("CP-23/plates.toml").replacen("[plate.planted]", "[plate.plantet]", 1);
    let page = instructor
        .send_files("/exercises/import", both(shipped("CP-23/exercise.toml"), plates))
        .await;
    page.is(422).has("plantet").has("plates.toml, line");
    instructor.get("/exercises").await.has_not("CP-23");

    // A serial that another exercise has.
    let plates = shipped("CP-23/plates.toml").replace("CP-23-01", "SB-11-01");
    let page = instructor
        .send_files("/exercises/import", both(shipped("CP-23/exercise.toml"), plates))
        .await;
    page.is(422).has("SB-11-01 is registered for another exercise");
    instructor.get("/exercises").await.has_not("CP-23");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_no_exercise_file_gets_a_page_that_says_so() {
    let site = Site::open().await;
    let instructor = site.instructor().await;
    let send = |bytes: Vec<u8>| {
        let form = Form::new().part("exercise", file("exercise.toml", bytes));
        instructor.send_files("/exercises/import", form)
    };
    send(Vec::new()).await.is(422);
    send(b"code = \"A\xff\"\n".to_vec())
        .await
        .is(422)
        .has("line 1: this is no text in UTF-8");
    send(vec![b'#'; 9 * 1024 * 1024]).await.is(422).has("bigger than 8 MB");
    send(vec![b'#'; 50 * 1024 * 1024]).await.is(422).has("bigger than 8 MB");
    let nothing = Form::new().text("other", "x");
    instructor
        .send_files("/exercises/import", nothing)
        .await
        .is(422)
        .has("Choose the exercise file");
    // What is not a form with files at all.
    instructor
        .send("/exercises/import", &[("exercise", "x")])
        .await
        .is(400)
        .has("The upload broke off");
}
