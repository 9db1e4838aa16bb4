//! Import of an exercise from its files.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::actions::import_exercise::{FileText, ImportError, Imported, import_exercise};
use crate::exercise::file::{Problem, Severity};
use crate::web::app::App;
use crate::web::errors::WebError;
use crate::web::frame::Frame;
use crate::web::guards::Instructor;
use crate::web::render::{Page, Sheet};
use crate::web::upload::{File, Upload};

#[derive(Debug, Template)]
#[template(path = "import.html")]
pub(in crate::web) struct Import {
    frame: Frame,
    /// What is wrong with the upload as a whole; empty when nothing is.
    wrong: String,
    /// Problems in the files.
    problems: Vec<Problem>,
    done: Option<Imported>,
}

pub(in crate::web) async fn page(Instructor(person): Instructor) -> Page<Import> {
    let frame = Frame::of(&person, "/exercises");
    Page(Import {
        frame,
        wrong: String::new(),
        problems: Vec::new(),
        done: None,
    })
}

/// The text of a file, or what is wrong with it.
pub(super) fn text_of(file: &File) -> Result<String, String> {
    let name = &file.name;
    if file.too_big {
        return Err(format!(
            "{name} is bigger than 8 MB. An exercise file has some kilobytes: is it the right one?"
        ));
    }
    let bytes = file.bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&file.bytes);
    String::from_utf8(bytes.to_vec()).map_err(|error| {
        let good = bytes.get(..error.utf8_error().valid_up_to()).unwrap_or_default();
        let line = good.iter().filter(|b| **b == b'\n').count() + 1;
        format!("{name}, line {line}: this is no text in UTF-8. Save the file as UTF-8 and choose it again.")
    })
}

pub(in crate::web) async fn submit(
    State(app): State<App>,
    Instructor(person): Instructor,
    upload: Upload,
) -> Result<Response, WebError> {
    let frame = Frame::of(&person, "/exercises");
    let mend = |wrong: String, problems| {
        let frame = frame.clone();
        Sheet(
            StatusCode::UNPROCESSABLE_ENTITY,
            Import {
                frame,
                wrong,
                problems,
                done: None,
            },
        )
        .into_response()
    };
    let Some(exercise) = upload.file("exercise") else {
        return Ok(mend("Choose the exercise file (exercise.toml).".to_owned(), Vec::new()));
    };
    let texts = (text_of(exercise), upload.file("plates").map(text_of).transpose());
    let (exercise_text, plates_text) = match texts {
        (Ok(exercise), Ok(plates)) => (exercise, plates),
        (Err(wrong), _) | (_, Err(wrong)) => return Ok(mend(wrong, Vec::new())),
    };
    let plates_name = upload.file("plates").map_or("plates.toml", |f| f.name.as_str());
    let plates = plates_text.as_deref().map(|text| FileText {
        name: plates_name,
        text,
    });
    let exercise = FileText {
        name: &exercise.name,
        text: &exercise_text,
    };
    match import_exercise(&app.service, Some(person.id), exercise, plates).await {
        Ok(mut imported) => {
            let problems = std::mem::take(&mut imported.warnings);
            Ok(Page(Import {
                frame,
                wrong: String::new(),
                problems,
                done: Some(imported),
            })
            .into_response())
        }
        Err(ImportError::Problems(problems)) => Ok(mend(String::new(), problems)),
        Err(ImportError::Store(error)) => Err(error.into()),
        Err(error @ ImportError::SerialTaken { .. }) => Ok(mend(format!("{error}."), Vec::new())),
    }
}
