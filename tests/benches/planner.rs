//! The planner: cutting requests into accesses and walking a whole plan. Numbers are requests per second.

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use pagewise_driver::plan::{Action, Job, Outcome, Plan, State};
use pagewise_driver::{Config, Geometry, Options};
use pagewise_part::card::Catalogue;

fn main() {
    divan::main();
}

fn geometry() -> Geometry {
    Catalogue::embedded().unwrap().find("24lc32a").unwrap().geometry([false; 3]).unwrap()
}

#[divan::bench]
fn cuts_of_a_request_over_five_pages(bencher: Bencher) {
    let geometry = geometry();
    bencher.counter(ItemsCount::new(1u32)).bench(|| {
        let chunks = geometry.write_chunks(black_box(0x1E), black_box(130), usize::MAX);
        chunks.map(|chunk| chunk.range.len()).sum::<usize>()
    });
}

#[divan::bench]
fn plan_of_a_request_over_five_pages(bencher: Bencher) {
    let config = Config::new(geometry(), &Options::new(), 34);
    bencher.counter(ItemsCount::new(1u32)).bench(|| {
        let mut state = State::new();
        let mut plan = Plan::new(&config, &mut state, Job::Write, black_box(0x1E), black_box(130)).unwrap();
        let mut steps = 0;
        while plan.step().action != Action::Done {
            plan.complete(Outcome::Done).unwrap();
            steps += 1;
        }
        steps
    });
}
