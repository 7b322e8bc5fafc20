//! How often one may try to sign in. Pure: the present comes in. Owns how many tries are free, how the waits grow, and that
//! neither many addresses nor many tries at once get more.

use std::collections::HashMap;
use std::net::IpAddr;
use std::time::{Duration, Instant};

/// Tries that nobody waits for: a person mistypes.
const FREE: u32 = 5;
/// The wait after the first try beyond them; each further one doubles it.
const WAIT_FIRST: Duration = Duration::from_secs(2);
/// The longest wait: 96 tries a day and address, and whoever forgot the password is let try again after a coffee.
const WAIT_MAX: Duration = Duration::from_mins(15);
/// After so long without a try an address begins anew.
const FORGOTTEN: Duration = Duration::from_hours(1);
/// Tries of all addresses together that may come at once, and how often another is granted.
pub const OF_ALL: u32 = 60;
const OF_ALL_EVERY: Duration = Duration::from_secs(5);
/// Addresses that are remembered; the one that has been quiet longest makes room.
const ADDRESSES_MAX: usize = 1024;

/// Whether one may try now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    /// One may; the try counts as failed until it is told otherwise.
    Yes,
    /// Not before so much time has gone by.
    After(Duration),
}

#[derive(Clone, Copy, Debug)]
struct Tries {
    n: u32,
    newest: Instant,
}

impl Tries {
    /// When the next one may be.
    fn next(self) -> Instant {
        let Some(over) = self.n.checked_sub(FREE) else { return self.newest };
        let factor = 1_u32.checked_shl(over).unwrap_or(u32::MAX);
        self.newest + WAIT_FIRST.saturating_mul(factor).min(WAIT_MAX)
    }
}

/// The tries of late.
#[derive(Debug, Default)]
pub struct Throttle {
    of: HashMap<IpAddr, Tries>,
    /// When the tries of all together will have been made up for.
    made_up: Option<Instant>,
}

impl Throttle {
    /// Takes a turn. It counts as failed at once, so that many tries at a time get no more than one after the other.
    pub fn take(&mut self, address: IpAddr, now: Instant) -> Turn {
        let group = network(address);
        let before = self.of.get(&group).copied().filter(|tries| now < tries.newest + FORGOTTEN);
        if let Some(wait) =
            before.and_then(|tries| tries.next().checked_duration_since(now)).filter(|wait| !wait.is_zero())
        {
            return Turn::After(wait);
        }
        let made_up = self.made_up.map_or(now, |made_up| made_up.max(now)) + OF_ALL_EVERY;
        if let Some(wait) = made_up.checked_duration_since(now + OF_ALL_EVERY * OF_ALL).filter(|wait| !wait.is_zero()) {
            return Turn::After(wait);
        }
        self.made_up = Some(made_up);
        if self.of.len() >= ADDRESSES_MAX && !self.of.contains_key(&group) {
            let quietest = self.of.iter().min_by_key(|(_, tries)| tries.newest).map(|(address, _)| *address);
            quietest.and_then(|address| self.of.remove(&address));
        }
        self.of.insert(group, Tries { n: before.map_or(0, |tries| tries.n).saturating_add(1), newest: now });
        Turn::Yes
    }

    /// The try of this address was right: it begins anew, and has cost the others nothing.
    pub fn forgive(&mut self, address: IpAddr) {
        self.of.remove(&network(address));
        self.made_up = self.made_up.and_then(|made_up| made_up.checked_sub(OF_ALL_EVERY));
    }
}

/// What counts as one address: whoever has one of IPv6 has the 2⁶⁴ of its network (RFC 4291).
#[must_use]
pub fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(address) if address.is_loopback() => IpAddr::V6(address),
        IpAddr::V6(address) => IpAddr::V6((address.to_bits() >> 64 << 64).into()),
        other @ IpAddr::V4(_) => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::{Ipv4Addr, Ipv6Addr};

    fn v4(nth: u32) -> IpAddr {
        IpAddr::V4(Ipv4Addr::from_bits(0xc000_0200 + nth))
    }

    /// How many turns an address that never rests gets within so many seconds.
    fn turns(throttle: &mut Throttle, address: IpAddr, from: Instant, seconds: u64) -> usize {
        let instants = (0..seconds).map(|second| from + Duration::from_secs(second));
        instants.filter(|now| throttle.take(address, *now) == Turn::Yes).count()
    }

    #[test]
    fn five_tries_are_free_and_the_waits_double_up_to_a_quarter_of_an_hour() {
        let (mut throttle, start) = (Throttle::default(), Instant::now());
        let mut now = start;
        let mut waits = Vec::new();
        for _ in 0..16 {
            if let Turn::After(wait) = throttle.take(v4(1), now) {
                waits.push(wait.as_secs());
                now += wait;
                assert_eq!(throttle.take(v4(1), now), Turn::Yes);
            }
        }
        assert_eq!(waits, [2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900]);
        // Another address is not held up by it.
        assert_eq!(throttle.take(v4(2), now), Turn::Yes);
    }

    #[test]
    fn whoever_tries_all_day_gets_a_hundred_tries() {
        let n = turns(&mut Throttle::default(), v4(1), Instant::now(), 86_400);
        assert!((90..=110).contains(&n), "{n}");
    }

    #[test]
    fn a_thousand_addresses_together_get_sixty_at_once_and_one_each_five_seconds() {
        let (mut throttle, now) = (Throttle::default(), Instant::now());
        let at_once = (0..1000).filter(|nth| throttle.take(v4(*nth), now) == Turn::Yes).count();
        assert_eq!(at_once, 60);
        let later = (0..1000).filter(|nth| {
            let now = now + Duration::from_millis(u64::from(*nth) * 100);
            throttle.take(v4(1000 + *nth), now) == Turn::Yes
        });
        assert_eq!(later.count(), 19);
    }

    #[test]
    fn a_right_try_and_an_hour_without_one_begin_anew() {
        let (mut throttle, now) = (Throttle::default(), Instant::now());
        assert_eq!(turns(&mut throttle, v4(1), now, 2), 2);
        throttle.forgive(v4(1));
        for _ in 0..5 {
            assert_eq!(throttle.take(v4(1), now), Turn::Yes);
        }
        assert_eq!(throttle.take(v4(1), now), Turn::After(WAIT_FIRST));
        assert_eq!(throttle.take(v4(1), now + FORGOTTEN), Turn::Yes);
    }

    #[test]
    fn a_network_of_ipv6_counts_as_one_address_and_one_in_disguise_as_itself() {
        let (mut throttle, now) = (Throttle::default(), Instant::now());
        let v6 = |host: u128| IpAddr::V6(Ipv6Addr::from_bits((0x2001_0db8_u128 << 96) + host));
        let n = (0..50).filter(|host| throttle.take(v6(*host), now) == Turn::Yes).count();
        assert_eq!(n, 5);
        assert_eq!(throttle.take(v6(1 << 64), now), Turn::Yes);
        let mapped = IpAddr::V6(Ipv4Addr::from_bits(0xc000_0201).to_ipv6_mapped());
        let n =
            (0..50).filter(|nth| throttle.take(if nth % 2 == 0 { mapped } else { v4(1) }, now) == Turn::Yes).count();
        assert_eq!(n, 5);
    }

    #[test]
    fn memory_is_bounded_and_who_has_been_quiet_longest_makes_room() {
        let (mut throttle, start) = (Throttle::default(), Instant::now());
        for nth in 0..3000_u32 {
            throttle.take(v4(nth), start + OF_ALL_EVERY * nth);
        }
        assert_eq!(throttle.of.len(), ADDRESSES_MAX);
        assert!(throttle.of.contains_key(&v4(2999)) && !throttle.of.contains_key(&v4(0)));
    }
}
