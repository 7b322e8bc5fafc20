//! A proxy that puts a name of this machine into `Host`.

use super::*;

const HOST: &str = "127.0.0.1:7870";

fn passed(mut request: Request<Body>, origin: Option<&str>) -> Request<Body> {
    let headers = request.headers_mut();
    headers.insert("x-forwarded-for", "192.0.2.4".parse().unwrap());
    if let Some(origin) = origin {
        headers.insert("origin", origin.parse().unwrap());
    }
    request
}

#[tokio::test]
async fn a_link_works_through_it_and_nothing_else_does() {
    let (_folder, site, id) = alarmed();
    let (store, links, token) = (site.store.clone(), site.links.clone().unwrap(), site.token.clone());
    let again =
        || Site { store: store.clone(), links: Some(links.clone()), token: token.clone(), ..super::super::site(801).1 };
    for asked in ["/", "/alarms", "/prints", "/live", "/reports"] {
        let answer = ask(again(), passed(get(asked, HOST), None)).await;
        assert_eq!(answer.0, StatusCode::MISDIRECTED_REQUEST, "{asked}");
    }
    let form = post(&format!("/alarms/{id}/acknowledge"), HOST, format!("token={token}"));
    assert_eq!(ask(again(), passed(form, Some(ADDRESS))).await.0, StatusCode::MISDIRECTED_REQUEST);
    let address = links.acknowledge(&key(), at(600) + LINK_LASTS);
    let link = path(&address);
    assert_eq!(ask(again(), passed(get(link, HOST), None)).await.0, StatusCode::OK);
    let foreign = passed(post(link, HOST, String::new()), Some("https://elsewhere.example"));
    assert_eq!(ask(again(), foreign).await.0, StatusCode::FORBIDDEN);
    assert_eq!(alarm_of(&store).state, State::Unacknowledged);
    let own = passed(post(link, HOST, String::new()), Some(ADDRESS));
    assert_eq!(ask(again(), own).await.0, StatusCode::OK);
    assert_eq!(alarm_of(&store).state, State::Acknowledged);
    // It adds nothing: it can't be told from a browser on this machine, but the link's own form works.
    let mut hidden = post(link, HOST, String::new());
    hidden.headers_mut().insert("origin", ADDRESS.parse().unwrap());
    assert_eq!(ask(again(), hidden).await.0, StatusCode::OK);
}
