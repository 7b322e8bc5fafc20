//! How long parts last: what their lives so far say of the next one. Owns life curves and their intervals; which parts
//! there were is the caller's.
