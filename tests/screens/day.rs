//! The screens of a whole day, on the invented one that `demo` plays.

use firnbook_tests::world::World;

#[test]
fn the_demo_tells_its_story() {
    let world = World::new();
    let screen = world.run("demo --dir @demo").ok();
    assert_eq!(screen.lines().find(|l| l.chars().count() > 80 && !l.contains("  cd ")), None);
    world.snapshot("demo", &screen);
}

#[test]
fn the_same_seed_plays_the_same_day() {
    let worlds = [World::new(), World::new()];
    let plays = worlds.each_ref().map(|w| {
        w.run("demo --dir @").ok();
        w.run("entries --json").json()["entries"]
            .as_array()
            .unwrap()
            .iter()
            .map(|e| e["entry"].clone())
            .collect::<Vec<_>>()
    });
    assert!(plays[0].len() > 100);
    let differ = plays[0].iter().zip(&plays[1]).find(|(one, other)| one != other);
    assert_eq!((plays[0].len(), differ), (plays[1].len(), None));
    let other = World::new();
    other.run("demo --dir @ --seed 8").ok();
    assert_ne!(other.run("entries --json").json()["entries"][100]["entry"], plays[0][100]);
}

#[test]
fn every_number_of_phones_plays() {
    for phones in 5..=12 {
        let world = World::new();
        let told = world.run(&format!("demo --dir @ --phones {phones} --json")).json();
        assert_eq!(told["packs"].as_array().unwrap().len(), phones - 1);
        assert!(told["conflicts"].as_u64().unwrap() >= 2 && told["twins"].as_u64().unwrap() >= 3, "{told}");
    }
}

#[test]
fn the_screens_of_a_patrol_lead() {
    let world = World::played();
    for (name, line) in [
        ("here", ""),
        ("clock", "clock"),
        ("review", "review"),
        ("review-ask", "review --ask Cedar"),
        ("kit", "kit"),
        ("debrief", "debrief"),
        ("debrief-curve", "debrief --drill 1 --curve \"Switzerland 1981-2020\""),
        ("stats-depth", "stats depth"),
        ("stats-depth-groups", "stats depth --of set --each --group-by team"),
        ("entries-strikes", "entries --kind strike"),
        ("day-list", "day list"),
        ("day-show", "day show"),
        ("settings", "settings"),
        ("settings-one", "settings electronics_send_cm"),
        ("verify", "verify"),
    ] {
        let ran = world.run(line);
        assert_eq!(ran.status, 0, "{line}: {}", ran.err);
        world.snapshot(name, &ran.shown());
        let wide = ran.out.lines().find(|l| l.chars().count() > 80 && !l.contains("base.firnstore"));
        assert_eq!(wide, None, "{line} runs past 80 columns");
    }
}

#[test]
fn the_last_phone_comes_down_and_the_day_is_closed() {
    let world = World::played();
    world.snapshot("close-refused", &world.run("day close").shown());
    world.snapshot("merge-late", &world.run("merge @late").shown());
    assert_eq!(world.run("merge @late --json").json()["files"][0]["status"], "known");
    world.run("log kit --item TX09 --step dug_up --drill 2 --target C").ok();
    world.snapshot("close", &world.run("day close").shown());
    assert!(world.run("day show --json").json()["closed"].as_bool().unwrap());
    let strict = world.run("--strict");
    assert_eq!(strict.status, 3, "twins still await a person");
    assert!(strict.err.is_empty());
}

#[test]
fn the_default_day_is_never_written_to_on_another_date() {
    let world = World::played();
    world.it_is("2027-02-07T08:00:00+01:00");
    let ran = world.run("log note --note late");
    assert_eq!(ran.status, 1);
    assert!(
        ran.err.contains("--day 2027-02-06") && ran.err.contains("firnbook day new --area"),
        "{}",
        ran.err
    );
    let ran = world.run("log note --note late --day 2027-02-06");
    assert!(ran.err.contains("say when it happened with --at"), "{}", ran.err);
    world.run("log note --note late --day 2027-02-06 --at 15:00").ok();
    assert!(world.run("entries").err.contains("the latest day: 2027-02-06 Quillhorn East"));
}

#[test]
fn help_has_an_example_for_every_command() {
    use clap::CommandFactory;
    let mut command = firnbook::args::Cli::command();
    command.build();
    let mut left: Vec<(String, clap::Command)> =
        command.get_subcommands().map(|c| (c.get_name().to_owned(), c.clone())).collect();
    let mut seen = 0;
    while let Some((name, mut command)) = left.pop() {
        // The kinds under `log` have their fields; the example stands at `log` itself.
        if !name.starts_with("log ") {
            let help = command.render_long_help().to_string();
            assert!(
                help.contains("Example") && help.contains("  firnbook "),
                "{name} has no example: {help}"
            );
            seen += 1;
        }
        left.extend(command.get_subcommands().map(|c| (format!("{name} {}", c.get_name()), c.clone())));
    }
    assert!(seen >= 25, "{seen}");
    let world = World::new();
    world.snapshot("help", &world.run("--help").ok());
    world.snapshot("help-log-strike", &world.run("log strike --help").ok());
}
