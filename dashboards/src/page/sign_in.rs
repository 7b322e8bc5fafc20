//! *Sign-in*: asks whoever comes from elsewhere for the password, and lets who is signed in sign out.

use super::{Page, Place, commands, rehearsal_words, shell};
use crate::format;
use crate::view::{SignInStage, SignInView};
use maud::{Markup, html};

/// The whole page.
#[must_use]
pub fn render_sign_in(view: &SignInView) -> String {
    let (title, place, body) = match &view.stage {
        SignInStage::Asks { said, token, to } => ("Sign in", Place::Outside, asks(said.as_deref(), token, to)),
        SignInStage::SignedIn { until, zone, token } => {
            let until = format::moment(*until, zone);
            ("Signed in", Place::Elsewhere, signed_in(&until, token))
        }
        SignInStage::NotNeeded => {
            let text = "The dashboard's own machine needs no sign-in.";
            ("No sign-in needed", Place::Elsewhere, html! { p class="lead" { (text) } p { a href="/" { "To Now" } } })
        }
        SignInStage::NoPassword => ("No sign-in", Place::Outside, no_password()),
    };
    let body = html! {
        @if view.rehearsal { (rehearsal_words()) }
        h1 { (title) }
        (body)
    };
    shell(&Page { title, place, frame: None, body })
}

fn asks(said: Option<&str>, token: &str, to: &str) -> Markup {
    html! {
        @if let Some(said) = said { p class="stale" role="alert" { (said) } }
        form method="post" action="/sign-in" class="sign-in" {
            input type="hidden" name="token" value=(token);
            input type="hidden" name="to" value=(to);
            label { "Password"
                input type="password" name="password" autocomplete="current-password" required autofocus;
            }
            button type="submit" { "Sign in" }
        }
        p class="quiet" { "It lasts 30 days in this browser, or until you sign out." }
    }
}

fn signed_in(until: &str, token: &str) -> Markup {
    html! {
        p class="lead" { "In this browser, until " (until) "." }
        form method="post" action="/sign-out" {
            input type="hidden" name="token" value=(token);
            button type="submit" { "Sign out" }
        }
        p class="quiet" { "A new password in the configuration ends every session." }
    }
}

fn no_password() -> Markup {
    html! {
        p class="lead" { "From here only programs with a token are let in: the configuration has no password." }
        p { (commands("`dwellwatch password` makes one, for `password_hash` under `[web]`.")) }
    }
}
