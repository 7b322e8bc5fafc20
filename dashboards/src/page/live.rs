//! The parts of a page that are put anew while it is open. Owns how a page is cut into them, so that the whole page and
//! its parts come from the same templates; when a part is sent is the server's.

use maud::{Markup, html};
use std::cell::RefCell;

/// A part of a page that can be put anew by itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LivePiece {
    /// The element's id.
    pub id: String,
    /// What it holds.
    pub inside: Inside,
    /// How many of the pieces that follow lie within it.
    pub holds: usize,
}

/// What an element holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Inside {
    /// This, in which the elements of later pieces are empty.
    Html(String),
    /// Elements of these ids and no others, in this order; what they hold are pieces of their own.
    Elements(Vec<String>),
}

/// Takes the pieces of a page while it is rendered.
pub(crate) struct Live {
    /// `None`: the page is rendered whole, and nobody asks for its pieces.
    pieces: Option<RefCell<Vec<LivePiece>>>,
}

impl Live {
    /// For a page that is rendered whole.
    pub(crate) const fn whole() -> Self {
        Self { pieces: None }
    }

    /// For its pieces: each stands after the one that holds its element.
    pub(crate) fn pieces(render: impl FnOnce(&Self)) -> Vec<LivePiece> {
        let live = Self { pieces: Some(RefCell::default()) };
        render(&live);
        live.pieces.map(RefCell::into_inner).unwrap_or_default()
    }

    /// What the element of that id holds.
    pub(crate) fn hole(&self, id: &str, inside: impl FnOnce() -> Markup) -> Markup {
        let Some(pieces) = &self.pieces else { return inside() };
        let place = pieces.borrow().len();
        pieces.borrow_mut().push(LivePiece { id: id.to_owned(), inside: Inside::Html(String::new()), holds: 0 });
        // No line of an event may end in the middle of what it carries.
        let held = inside().into_string().replace('\r', " ");
        close(pieces, place, Inside::Html(held));
        html! {}
    }

    /// What the element of that id holds, where that is elements that come and go. `element` draws the one of a place
    /// and id, with a hole in it.
    pub(crate) fn list(&self, id: &str, elements: &[String], element: impl Fn(usize, &str) -> Markup) -> Markup {
        let place = self.pieces.as_ref().map(|pieces| {
            let inside = Inside::Elements(elements.to_vec());
            pieces.borrow_mut().push(LivePiece { id: id.to_owned(), inside: inside.clone(), holds: 0 });
            (pieces, pieces.borrow().len() - 1, inside)
        });
        let all: Vec<Markup> = elements.iter().enumerate().map(|(idx, id)| element(idx, id)).collect();
        if let Some((pieces, place, inside)) = place {
            close(pieces, place, inside);
            return html! {};
        }
        html! { @for element in &all { (element) } }
    }
}

/// Fills a piece in, once those within it are taken.
fn close(pieces: &RefCell<Vec<LivePiece>>, place: usize, inside: Inside) {
    let mut pieces = pieces.borrow_mut();
    let holds = pieces.len().saturating_sub(place + 1);
    if let Some(piece) = pieces.get_mut(place) {
        (piece.inside, piece.holds) = (inside, holds);
    }
}
