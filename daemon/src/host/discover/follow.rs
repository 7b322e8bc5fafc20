//! Which links of a host lead to its documents or to a description of them. Sends nothing.

use super::description::{Home, LeftOut, is_json, shown};
use super::link::Link;
use crate::host::Address;

/// What a link stands in.
pub(super) enum Context<'a> {
    /// The header, or the body, of this resource: it speaks of that alone.
    Resource(&'a Address),
    /// A set of links (RFC 9264): it speaks of others.
    Set(&'a Address),
}

/// A link to follow.
pub(super) struct Step {
    pub(super) address: Address,
    /// It describes the resource that the link stands in.
    pub(super) is_description: bool,
    /// How it was found, in words.
    pub(super) origin: String,
}

/// Relations of IANA's registry that lead to a document or a description: RFC 8631 (service and its state), RFC 6573
/// (lists and their items), POWDER's describedby, RFC 9727 and 9264 (lists of interfaces and of links).
const FOLLOWED: [&str; 8] =
    ["service-desc", "service-meta", "status", "describedby", "item", "collection", "api-catalog", "linkset"];

/// Relations that mostly lead to pages for people: followed only where the link itself says JSON.
const FOLLOWED_AS_JSON: [&str; 2] = ["service-doc", "alternate"];

impl<'a> Context<'a> {
    pub(super) fn address(&self) -> &'a Address {
        match self {
            Self::Resource(address) | Self::Set(address) => address,
        }
    }

    fn words(&self) -> String {
        match self {
            Self::Resource(address) => format!("link of {address}"),
            Self::Set(address) => format!("set of links at {address}"),
        }
    }

    /// A header's link with an anchor elsewhere speaks of something else (RFC 8288, section 3.2).
    fn owns(&self, link: &Link) -> bool {
        match (self, &link.anchor) {
            (Self::Set(_), _) | (_, None) => true,
            (Self::Resource(address), Some(anchor)) => {
                let own = address.url();
                own.join(anchor).is_ok_and(|anchor| anchor == own)
            }
        }
    }
}

/// The links to follow; what is not followed though it might lead to a document is noted.
pub(super) fn followed(context: &Context<'_>, links: Vec<Link>, home: &Home, left_out: &mut LeftOut) -> Vec<Step> {
    let mut steps = Vec::new();
    for link in links.into_iter().filter(|link| context.owns(link)) {
        let has = |rels: &[&str]| link.rels.iter().any(|rel| rels.contains(&rel.as_str()));
        let says_json = link.media_type.as_deref().map(is_json);
        let leads = has(&FOLLOWED) || has(&FOLLOWED_AS_JSON) && says_json == Some(true);
        if !leads {
            continue;
        }
        let base = context.address().url();
        match (home.reach(&base, &link.target), says_json) {
            (Err(elsewhere), _) => left_out.note(elsewhere.to_string(), &shown(&base, &link.target)),
            (Ok(_), Some(false)) => {
                let media_type = link.media_type.unwrap_or_default();
                left_out.note(format!("it comes as {media_type}, not JSON"), &shown(&base, &link.target));
            }
            (Ok(address), _) => {
                let is_description = has(&["describedby"]);
                steps.push(Step { address, is_description, origin: context.words() });
            }
        }
    }
    steps
}
