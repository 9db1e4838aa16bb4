//! What people add to a computed grade: a mark of their own, words to the pair, answers to its queries, and that they
//! are done with it. Everything can be taken back, and everything stands in the audit trail.

use rust_decimal::Decimal;
use thiserror::Error;

use super::Service;
use crate::store::ids::{PersonId, QueryId, RemarkId, ReportId};
use crate::store::{StoreError, attention, audit, overrides, queries, remarks};

/// Longest reason, remark, query or answer, in characters.
pub const TEXT: usize = 2000;

/// Why nothing was done.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum Wrong {
    /// No words, or too many.
    #[error("write at least one word and at most {TEXT} characters")]
    Text,
    /// No mark.
    #[error("a mark is a number from 0 to 100 with at most one decimal")]
    Mark,
    /// There is nothing to take back or answer (any more).
    #[error("it is not there any more")]
    Gone,
}

/// Why something was not done.
#[derive(Debug, Error)]
pub enum ReviewError {
    /// What was typed.
    #[error(transparent)]
    Wrong(#[from] Wrong),
    /// The database failed.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What a person does with a report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Act {
    /// Sets the mark.
    Set {
        /// 0 to 100.
        mark: Decimal,
        /// Why.
        reason: String,
    },
    /// Takes the set mark back.
    TakeMarkBack,
    /// Says something to the pair.
    Remark(String),
    /// Withdraws it.
    Withdraw(RemarkId),
    /// Answers a query.
    Answer(QueryId, String),
    /// Takes the answer back.
    TakeAnswerBack(QueryId),
    /// Is done with it.
    Done,
    /// Is not done after all.
    NotDone,
}

/// Words as they are kept.
///
/// # Errors
/// When there are none or too many.
pub fn words(text: &str) -> Result<String, Wrong> {
    let text = text.trim().replace("\r\n", "\n");
    if text.is_empty() || text.chars().count() > TEXT {
        return Err(Wrong::Text);
    }
    Ok(text)
}

/// A mark as typed: a point or a comma.
///
/// # Errors
/// When it is none.
pub fn mark(text: &str) -> Result<Decimal, Wrong> {
    let mark: Decimal = text.trim().replace(',', ".").parse().map_err(|_| Wrong::Mark)?;
    let mark = mark.normalize();
    if mark.scale() > 1 || !(Decimal::ZERO..=Decimal::ONE_HUNDRED).contains(&mark) {
        return Err(Wrong::Mark);
    }
    Ok(mark)
}

/// Does one thing with a report and writes it down.
///
/// # Errors
/// When what was typed is wrong, what is to be taken back is gone, or the database cannot be written.
pub async fn act(service: &Service, report: ReportId, by: PersonId, act: &Act) -> Result<(), ReviewError> {
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    let (what, detail, there) = match act {
        Act::Set { mark, reason } => {
            overrides::set(&mut tx, report, *mark, reason, now, by).await?;
            let detail = serde_json::json!({ "mark": mark.to_string(), "reason": reason });
            ("set-mark", detail, true)
        }
        Act::TakeMarkBack => {
            let there = overrides::undo(&mut tx, report, now, by).await?;
            ("take-mark-back", serde_json::json!({}), there)
        }
        Act::Remark(text) => {
            let id = remarks::add(&mut tx, report, text, now, by).await?;
            ("remark", serde_json::json!({ "remark": id, "text": text }), true)
        }
        Act::Withdraw(id) => {
            let there = remarks::withdraw(&mut tx, report, *id, now).await?;
            ("withdraw-remark", serde_json::json!({ "remark": id }), there)
        }
        Act::Answer(id, text) => {
            let there = queries::answer(&mut tx, report, *id, text, now, by).await?;
            ("answer-query", serde_json::json!({ "query": id, "text": text }), there)
        }
        Act::TakeAnswerBack(id) => {
            let there = queries::take_back(&mut tx, report, *id).await?;
            ("take-answer-back", serde_json::json!({ "query": id }), there)
        }
        Act::Done => {
            attention::done(&mut tx, report, now, by).await?;
            ("done-with-report", serde_json::json!({}), true)
        }
        Act::NotDone => {
            let there = attention::not_done(&mut tx, report).await?;
            ("not-done-with-report", serde_json::json!({}), there)
        }
    };
    if !there {
        return Err(Wrong::Gone.into());
    }
    let about = ("report", report.0);
    let entry = audit::Entry {
        at: now,
        person: Some(by),
        what,
        about,
        detail,
    };
    audit::write(&mut tx, &entry).await?;
    Ok(tx.commit().await?)
}

/// Most queries of one report that may wait at once.
const WAITING: i64 = 5;

/// A pair asks about its mark.
///
/// # Errors
/// When no words are there, so many queries wait already, or the database cannot be written.
pub async fn ask(
    service: &Service,
    report: ReportId,
    by: PersonId,
    no: Option<&str>,
    text: &str,
) -> Result<(), ReviewError> {
    let text = words(text)?;
    if queries::waiting(&service.store, report).await? >= WAITING {
        return Err(Wrong::Gone.into());
    }
    let now = service.clock.now();
    let mut tx = service.store.change().await?;
    if queries::ask(&mut tx, report, no, &text, now, by).await? {
        let entry = audit::Entry {
            at: now,
            person: Some(by),
            what: "ask",
            about: ("report", report.0),
            detail: serde_json::json!({ "no": no, "text": text }),
        };
        audit::write(&mut tx, &entry).await?;
    }
    Ok(tx.commit().await?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_and_words_as_typed() {
        for (text, wanted) in [
            ("72", Some("72")),
            (" 72,5 ", Some("72.5")),
            ("72.50", Some("72.5")),
            ("100", Some("100")),
            ("100.1", None),
            ("-1", None),
            ("72.25", None),
            ("", None),
            ("good", None),
        ] {
            let wanted: Option<Decimal> = wanted.map(|w| w.parse().unwrap());
            assert_eq!(mark(text).ok(), wanted, "{text}");
        }
        assert_eq!(words("  so it is\r\nthen ").unwrap(), "so it is\nthen");
        assert_eq!(words(" \n "), Err(Wrong::Text));
        assert!(words(&"x".repeat(TEXT + 1)).is_err());
    }
}
