//! Which codes cannot be in force together on one line. Owns the modal groups; knows nothing of what a code does.

/// Whether two codes are of one modal group (NISTIR 6556, table 4), or two want the same axis words.
#[cold]
pub(super) fn clash(g: &[u32], m: &[u32]) -> bool {
    let mut groups = 0_u32;
    let mut clashes = |group: Option<u32>| {
        let bit = group.map_or(0, |group| 1_u32.wrapping_shl(group));
        let is_there = groups & bit != 0;
        groups |= bit;
        is_there
    };
    let is_moving = |code: &u32| matches!(code, 0 | 10 | 20 | 30 | 382 | 810..=890);
    let takes_axes = |code: &u32| matches!(code, 280 | 300 | 920);
    g.iter().any(|code| clashes(g_group(*code)))
        || m.iter().any(|code| clashes(m_group(*code)))
        || g.iter().any(is_moving) && g.iter().any(takes_axes)
}

const fn g_group(tenths: u32) -> Option<u32> {
    Some(match tenths {
        40 | 100 | 110 | 280 | 300 | 530 | 920..=923 => 0,
        0 | 10 | 20 | 30 | 382 | 800..=890 => 1,
        170 | 180 | 190 => 2,
        900 | 910 => 3,
        930 | 940 => 5,
        200 | 210 => 6,
        400 | 410 | 420 => 7,
        430 | 490 => 8,
        980 | 990 => 10,
        540..=593 => 12,
        610 | 611 | 640 => 13,
        _ => return None,
    })
}

/// The standard's, and the trade's way of telling filament. M7 and M8 may both be in force.
const fn m_group(tenths: u32) -> Option<u32> {
    Some(match tenths {
        0 | 10 | 20 | 300 | 600 => 16,
        60 => 17,
        30 | 40 | 50 => 18,
        480 | 490 => 19,
        820 | 830 => 20,
        _ => return None,
    })
}
