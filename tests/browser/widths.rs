//! No page scrolls sideways, on a telephone, a tablet or a desk.

use serde_json::Value;

use super::pages::School;
use super::window::{Scripts, Window};

const WIDTHS: [u32; 3] = [360, 820, 1400];

/// What the page needs and has, and the elements that stand out at the right and do not scroll for themselves.
pub(super) const MEASURE: &str = "
    const page = document.documentElement;
    const over = [...document.querySelectorAll('body *')]
      .filter((e) => e.getBoundingClientRect().right > page.clientWidth + 1)
      .map((e) => `${e.localName}.${e.getAttribute('class') ?? ''}`);
    return [page.scrollWidth, page.clientWidth, over.slice(0, 8).join(' ')];";

#[tokio::test(flavor = "multi_thread")]
async fn no_main_page_scrolls_sideways() {
    let school = School::open().await;
    let window = Window::open(&school.site, Scripts::On).await;
    let mut wrong = Vec::new();
    school
        .each(&window, async |path| {
            for width in WIDTHS {
                window.widen(width).await;
                let found = window.run(MEASURE).await;
                let (needs, has) = (found[0].as_u64().unwrap(), found[1].as_u64().unwrap());
                if needs > has {
                    wrong.push(format!("{path} at {width}: {needs} > {has}, {}", text(&found[2])));
                }
            }
        })
        .await;
    assert!(wrong.is_empty(), "pages that scroll sideways:\n{}", wrong.join("\n"));
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap()
}
