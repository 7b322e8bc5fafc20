//! What signs the links in messages.

use super::{Reader, StoreError};
use crate::links::LinkKey;

impl Reader {
    /// The key that links in messages are signed with, and the record's word with it.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn link_key(&self) -> Result<LinkKey, StoreError> {
        const SQL: &str = "SELECT secret, word FROM link_key JOIN identity";
        Ok(self.db.query_row(SQL, [], |row| Ok(LinkKey::new(&row.get::<_, Vec<u8>>(0)?, row.get(1)?)))?)
    }
}
