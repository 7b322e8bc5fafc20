//! What a person does with the pages, step by step: watching, answering alarms, telling how a print came out, having a job
//! file read. Knows the pages by what they show, not by how they are made.

use crate::eyes::{Eyes, LIVE_WITHIN};
use serde_json::json;
use std::fs;
use std::time::{Duration, Instant};
use thirtyfour::prelude::*;

/// What the rehearsal promises: an alarm within a minute.
const ALARM_WITHIN: Duration = Duration::from_mins(1);

/// *Now* shows a tool that waits, changes without a reload, and shows the alarm when it comes.
pub(crate) async fn follows_the_printer(eyes: &Eyes) {
    let begun = Instant::now();
    eyes.driver.execute("window.sameDocument = 1;", vec![]).await.unwrap();
    eyes.wait(ALARM_WITHIN, ".tool .doing", |text| text.contains("waiting hot")).await;
    let before = eyes.texts("#now").await.join("");
    eyes.wait(LIVE_WITHIN, "#now", |now| now != before).await;
    eyes.wait(ALARM_WITHIN.saturating_sub(begun.elapsed()), ".alarm.standing", |_| true).await;
    assert_eq!(eyes.number("return window.sameDocument ?? 0;").await, 1, "the page was loaded anew");
    eyes.shoot("now.png").await;
}

/// An alarm is shelved by name, brought back and acknowledged, each with its button.
pub(crate) async fn alarms(eyes: &Eyes) {
    opened(eyes, "details[id^=unseen-] > summary").await.click().await.unwrap();
    eyes.find("details[open] details[id^=more-] > summary").await.click().await.unwrap();
    eyes.find("details[open] [name=by]").await.send_keys("Ada").await.unwrap();
    eyes.find("details[open] [name=why]").await.send_keys("a new nozzle").await.unwrap();
    eyes.find("details[open] option[value='480']").await.click().await.unwrap();
    eyes.shoot("alarms-form.png").await;
    eyes.find("details[open] [formaction$=shelve]").await.click().await.unwrap();
    let held = eyes.wait(LIVE_WITHIN, ".holds li", |held| held.contains("by Ada: a new nozzle")).await;
    assert!(held.contains(", shelved until "), "{held}");
    eyes.open("").await;
    eyes.wait(LIVE_WITHIN, ".quiet", |line| line.contains("Calls nobody: ") && line.contains("by Ada")).await;
    eyes.open("alarms").await;
    eyes.find(".holds button").await.click().await.unwrap();
    eyes.until("!document.querySelector('.holds li')").await;
    let by_us = "[...document.querySelectorAll('.changes li')].filter((change) => \
        change.textContent.endsWith('by dashboard')).length";
    opened(eyes, "details[id^=unseen-] > summary").await.click().await.unwrap();
    let before = eyes.number(&format!("return {by_us};")).await;
    eyes.find("details[open] .acknowledge").await.click().await.unwrap();
    eyes.until(&format!("{by_us} === {}", before + 1)).await;
}

/// Reloads the page of alarms until an open one has that, and gives it: alarms of a printer at work come and go.
async fn opened(eyes: &Eyes, selector: &str) -> WebElement {
    let begun = Instant::now();
    loop {
        eyes.open("alarms").await;
        if let Ok(found) = eyes.driver.find(By::Css(selector)).await {
            return found;
        }
        assert!(begun.elapsed() < ALARM_WITHIN, "no {selector} within {ALARM_WITHIN:?}");
        tokio::time::sleep(Duration::from_millis(500)).await;
    }
}

/// A link that was not signed here says so calmly, and leads nowhere; without scripts, as in a mail program's window.
pub(crate) async fn forged_link(eyes: &Eyes) {
    eyes.size(360, 800).await;
    eyes.open("alarms/link/YWNrbm93bGVkZ2U.AAAA").await;
    assert_eq!(eyes.find("h1").await.text().await.unwrap(), "This link does not work");
    assert_eq!(eyes.driver.find_all(By::Css("nav, button, form")).await.unwrap().len(), 0);
    // The stylesheet is found from there.
    let measure = eyes.find("main").await.css_value("max-width").await.unwrap();
    assert_eq!(measure, "960px");
    eyes.shoot("link-forged.png").await;
}

/// What a page says has just been done.
async fn done(eyes: &Eyes, says: &str) -> String {
    eyes.wait(LIVE_WITHIN, ".done", |text| text.contains(says)).await
}

/// From the strip: a print is called clean with one tap and asked about again after another; on its own page a tap says
/// what went wrong, on which tool, and each word stays in the history.
pub(crate) async fn outcomes(eyes: &Eyes) {
    eyes.open("prints").await;
    let path = eyes.path_of(".silent .print-head a").await;
    let first = format!(".silent li:first-child a[href='/{path}']");
    eyes.find(".silent li:first-child .clean").await.click().await.unwrap();
    done(eyes, "Recorded. ").await;
    assert_eq!(eyes.texts(&first).await.len(), 0, "it is asked about no more");
    eyes.shoot("prints-done.png").await;
    eyes.find(".done .undo button").await.click().await.unwrap();
    done(eyes, "nothing stands now").await;
    assert_eq!(eyes.texts(&first).await.len(), 1, "it is asked about again");
    eyes.open(&path).await;
    eyes.find("button.clean").await.click().await.unwrap();
    done(eyes, "Whole print: clean").await;
    let at = eyes.driver.current_url().await.unwrap();
    assert!(at.path() == format!("/{path}") && at.fragment() == Some("outcome"), "{at}");
    eyes.find("#went-wrong > summary").await.click().await.unwrap();
    eyes.find("button[value='1:jam']").await.click().await.unwrap();
    done(eyes, "T1: jam, 2 serious").await;
    eyes.shoot("print-done.png").await;
    eyes.find(".done .undo button").await.click().await.unwrap();
    done(eyes, "Whole print: clean").await;
    let words = eyes.texts(".words .told").await;
    assert_eq!(words.len(), 3, "{words:?}");
    assert!(words[0].contains("T1: jam") && words[0].contains("taken back"), "{words:?}");
    assert!(words[1].contains("clean") && words[1].contains("stands"), "{words:?}");
    // Enter in the note must not press a button that says something.
    eyes.find("#went-wrong > summary").await.click().await.unwrap();
    eyes.find("#went-wrong input[name=note]").await.send_keys("thin walls" + Key::Enter).await.unwrap();
    tokio::time::sleep(Duration::from_millis(500)).await;
    assert_eq!(eyes.texts(".words .told").await.len(), 3);
}

/// A suggestion is taken up, given up with a reason, and says so at once.
pub(crate) async fn changes(eyes: &Eyes) {
    eyes.open("changes").await;
    // It is worked out in the background after the start.
    let offer = eyes.wait(ALARM_WITHIN, ".offer h3", |_| true).await;
    eyes.find(".offer .adopt").await.click().await.unwrap();
    eyes.wait(LIVE_WITHIN, "#notice", |text| text.contains("on trial")).await;
    eyes.wait(ALARM_WITHIN, ".trial .headline", |text| text.contains("rint")).await;
    eyes.shoot("changes-on-trial.png").await;
    eyes.find(".trial .decline summary").await.click().await.unwrap();
    eyes.find(".trial .decline [name=why]").await.send_keys("no time").await.unwrap();
    eyes.find(".trial .decline button").await.click().await.unwrap();
    eyes.wait(LIVE_WITHIN, "#notice", |text| text.contains("given up")).await;
    assert!(!eyes.texts(".offer h3").await.contains(&offer), "what was given up is offered no more");
}

/// A part that was changed is recorded, and stands at once.
pub(crate) async fn parts(eyes: &Eyes) {
    eyes.open("parts").await;
    eyes.find("details.record > summary").await.click().await.unwrap();
    eyes.find("details[open] option[value=nozzle]").await.click().await.unwrap();
    eyes.find("details[open] [name=note]").await.send_keys("brass, 0.4").await.unwrap();
    eyes.find("details[open] button").await.click().await.unwrap();
    eyes.wait(LIVE_WITHIN, "#notice", |text| text.contains("Recorded")).await;
    // Its history is folded.
    eyes.until("document.querySelector('main').textContent.includes('brass, 0.4')").await;
}

/// A week's report leads to the week before; a reversed time is told, with what was typed.
pub(crate) async fn reports(eyes: &Eyes) {
    eyes.open("reports/2026-W08").await;
    eyes.find("a[href='/reports/2026-W07']").await.click().await.unwrap();
    eyes.until("location.pathname === '/reports/2026-W07'").await;
    let at = eyes.find("h1").await.text().await.unwrap();
    assert!(at.contains("2026-W07"), "{at}");
    let media = json!({ "media": "print" });
    eyes.driver.cdp().send_raw("Emulation.setEmulatedMedia", media).await.unwrap();
    let shown = "return Number(document.querySelector('nav').checkVisibility());";
    assert_eq!(eyes.number(shown).await, 0, "paper has no navigation");
    eyes.scheme("light").await;
}

/// T0 is left hot for ten minutes while T1 stands at work.
const JOB: &str = "M83\nM109 S210 T0\nM109 S210 T1\nT0\nG1 X1 E4 F60\nT1\nG1 X2 E4 F60\nG4 S600\nT0\nG1 X3 E4 F60\n";

/// A job file is chosen and sent as a person does it, and what stands out is shown.
pub(crate) async fn preflight(eyes: &Eyes) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lantern.gcode");
    fs::write(&file, JOB).unwrap();
    eyes.open("preflight").await;
    let chosen = eyes.driver.find(By::Css("input[type=file]")).await.unwrap();
    chosen.send_keys(file.to_str().unwrap()).await.unwrap();
    eyes.driver.find(By::Css("form.preflight button")).await.unwrap().click().await.unwrap();
    let found = eyes.wait(LIVE_WITHIN, "[data-finding=no_standby]", |_| true).await;
    assert!(found.contains("T0: It is left at its print temperature at 1 of 1 changes to T1."), "{found}");
    assert_eq!(eyes.texts(".lead").await, ["lantern.gcode"]);
    assert_eq!(eyes.texts("article.tool h3").await.len(), 2);
    for (scheme, width) in [("light", 360), ("dark", 1440)] {
        eyes.scheme(scheme).await;
        eyes.size(width, 800).await;
        let needed = eyes.width_needed().await;
        assert!(needed <= width, "what came of a file needs {needed} px where there are {width}");
        eyes.shoot_whole(&format!("preflight-read-{width}-{scheme}.png"), width).await;
    }
    eyes.scheme("light").await;
}
