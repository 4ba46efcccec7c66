// Tests of the Kotlin sources on the JVM with the real library. Every test has a name; the last line counts them.

import firnbook.*
import firnbook.log.*
import firnbook.units.*
import firnbook.units.Centimetres
import java.io.File
import java.nio.file.Files
import java.time.*
import java.util.concurrent.Executors
import java.util.concurrent.TimeUnit
import kotlin.system.exitProcess
import kotlin.test.*

fun file() = Files.createTempDirectory("firnbook").resolve("store.firnbook").toString()

fun opened(clock: LogClock? = null) = Logbook.open(file(), clock)

val date: LocalDate = LocalDate.of(2027, 2, 6)

fun Logbook.aDay() = beginDay(date, "Upper Bowl", "Obs1").day

fun Logbook.strike(day: DayId, depth: Double = 112.0, common: (Common) -> Common = { it }) =
    write(day, common(stamp("Obs1").copy(drill = "1")), Body.Strike(Strike(depthCm = Centimetres(depth))))

fun Logbook.count() = entries(Filter()).size

class MovingClock(var at: OffsetDateTime = OffsetDateTime.parse("2027-02-06T10:00:00Z"), var broken: Boolean = false) : LogClock {
    override fun now(): OffsetDateTime = if (broken) error("this clock stands still") else at
}

class Watch(private val log: Logbook, private val last: ULong) : LongWork {
    val seen = mutableListOf<kotlin.Pair<ULong, ULong>>()
    var calledBack: Throwable? = null

    override fun goesOn(done: ULong, of: ULong): Boolean {
        seen += done to of
        calledBack = runCatching { log.days() }.exceptionOrNull()
        return done < last
    }
}

val tests: Map<String, () -> Unit> = mapOf(
    "the story gives its figures" to {
        opened().use { log ->
            val day = tell(log, story.part("devices").text("Kotlin")!!)
            val each = story.part("each")
            assertEquals(each.number("entries")!!.toInt(), log.count())
            val ask = DepthAsk(of = DepthOf.FOUND, direction = Direction.SLOPE_NORMAL, method = Method.TAPE)
            val figures = log.depthStats(Season(), ask).figures
            assertEquals(each.number("n")!!.toULong(), figures.n)
            assertEquals(each.number("median_cm"), figures.medianCm)
            log.packFile(listOf(day), System.getenv("FIRNBOOK_PACKS") + "/kotlin.firn")
        }
    },
    "numbers that can not be are refused with their fields" to {
        opened().use { log ->
            val day = log.aDay()
            for (depth in listOf(Double.NaN, Double.POSITIVE_INFINITY, Double.NEGATIVE_INFINITY, -1.0, 1000.1)) {
                val refused = assertFailsWith<FirnbookException.Refused> { log.strike(day, depth) }
                assertTrue(refused.faults.single().fault.why.isNotEmpty())
                assertTrue(refused.sentence().length > 20)
            }
            assertEquals(0, log.count())
        }
    },
    "texts empty, long and broken" to {
        opened().use { log ->
            val day = log.aDay()
            assertFailsWith<FirnbookException.Refused> { log.strike(day) { it.copy(drill = "") } }
            assertFailsWith<FirnbookException.Refused> { log.strike(day) { it.copy(drill = "x".repeat(1_000_000)) } }
            assertFails { log.strike(day) { it.copy(note = "half a \uD800 pair") } }
            assertFailsWith<FirnbookException.Refused> { log.strike(day) { it.copy(note = "ü".repeat(1_000_000)) } }
            val note = "ü".repeat(10_000)
            log.strike(day) { it.copy(note = note) }
            assertEquals(note, log.entries(Filter()).single().noted.entry!!.common.note)
        }
    },
    "every sort of refusal has its type and fields" to {
        opened().use { log ->
            val day = log.aDay()
            val entry = log.strike(day)
            assertEquals(Sought.DAY, assertFailsWith<FirnbookException.NotFound> { log.findDay("2031-01-01") }.what)
            log.beginDay(date, "Lower Bowl", "Obs1")
            assertEquals(2, assertFailsWith<FirnbookException.Ambiguous> { log.findDay("2027-02-06") }.found.size)
            assertEquals("drill", assertFailsWith<FirnbookException.Fixed> { log.amend(day, entry, """{"drill": "2"}""", "Obs1") }.field)
            assertFailsWith<FirnbookException.Refused> { log.amend(day, entry, "no json", "Obs1") }
            assertFailsWith<FirnbookException.BadPack> { log.merge("no pack".toByteArray()) }
            assertNotNull(assertFailsWith<FirnbookException.Storage> { log.mergeFile("/nowhere/none.firn") }.path)
            assertFailsWith<FirnbookException.Usage> { log.beginDay(date, "  ", "Obs1") }
            log.shut()
            log.shut()
            assertFailsWith<FirnbookException.Shut> { log.days() }
        }
    },
    "a call on an object that was closed is an exception" to {
        val log = opened()
        log.close()
        assertFailsWith<IllegalStateException> { log.days() }
        Unit
    },
    "times come back as java.time wrote them" to {
        opened().use { log ->
            val day = log.aDay()
            val zurich = ZoneId.of("Europe/Zurich")
            val times = listOf(
                OffsetDateTime.parse("2027-02-06T10:08:20.123+01:00"),
                OffsetDateTime.parse("1969-12-31T23:59:59.999Z"),
                OffsetDateTime.parse("9998-12-31T23:59:59.001-11:30"),
                // In the gap of 2027-03-28, and both passes through 02:30 on 2027-10-31.
                ZonedDateTime.of(LocalDateTime.of(2027, 3, 28, 2, 30), zurich).toOffsetDateTime(),
                ZonedDateTime.of(LocalDateTime.of(2027, 10, 31, 2, 30), zurich).withEarlierOffsetAtOverlap().toOffsetDateTime(),
                ZonedDateTime.of(LocalDateTime.of(2027, 10, 31, 2, 30), zurich).withLaterOffsetAtOverlap().toOffsetDateTime(),
            )
            for (at in times) {
                val id = log.strike(day) { it.copy(at = at) }
                assertEquals(at, log.entries(Filter()).single { it.noted.id == id }.noted.entry!!.common.at)
            }
            val rounded = log.strike(day) { it.copy(at = OffsetDateTime.parse("2027-02-06T10:00:00.122999600Z")) }
            assertEquals(OffsetDateTime.parse("2027-02-06T10:00:00.123Z"), log.entries(Filter()).single { it.noted.id == rounded }.noted.entry!!.common.at)
            assertFailsWith<FirnbookException.Refused> { log.strike(day) { it.copy(at = OffsetDateTime.of(10000, 1, 1, 0, 0, 0, 0, ZoneOffset.UTC)) } }
        }
        Unit
    },
    "a date that no calendar of a training day has is refused" to {
        opened().use { log ->
            for (far in listOf(LocalDate.MIN, LocalDate.of(-1, 1, 1), LocalDate.of(10000, 1, 1), LocalDate.MAX)) {
                assertFailsWith<FirnbookException.Refused>("$far") { log.beginDay(far, "Upper Bowl", "Obs1") }
            }
            assertEquals(0, log.days().size)
        }
    },
    "half a surrogate is refused wherever a text goes in" to {
        opened().use { log ->
            val day = log.aDay()
            val entry = log.strike(day)
            val half = "half a \uD800 pair"
            val calls = listOf<() -> Any?>(
                { Logbook.open(half, null) }, { log.findDay(half) }, { log.beginDay(date, half, "Obs1") }, { log.stamp(half) }, { log.writeLines(day, "Lead", half) },
                { log.amend(day, entry, half, "Obs1") }, { log.amend(day, entry, """{"note": "\ud800"}""", "Obs1") }, { log.voidEntry(day, entry, half, "Obs1") },
                { log.settle(day, listOf(half), Verdict.Accept, "Lead") }, { log.personStats(Season(), half) }, { log.mergeFile(half) }, { log.joinCrew(half, "A") },
            )
            for (call in calls) assertFails { call() }
            assertEquals(1, log.count())
        }
    },
    "sixteen threads at once lose nothing" to {
        opened().use { log ->
            val day = log.aDay()
            val threads = Executors.newFixedThreadPool(16)
            val done = (1..16).map { threads.submit { repeat(10) { log.strike(day); log.days() } } }
            done.forEach { it.get(120, TimeUnit.SECONDS) }
            threads.shutdown()
            assertEquals(160, log.count())
        }
    },
    "a listener that throws or calls back harms nothing" to {
        opened().use { log ->
            val day = log.aDay()
            val counted = mutableListOf<Int>()
            val merged = mutableListOf<ULong>()
            log.listen(Listening(onWritten = { _, _ -> error("no") }))
            log.listen(Listening(onWritten = { _, _ -> counted += log.count() }, onMerged = { merged += it.days[0].newEntries }))
            log.strike(day)
            log.strike(day)
            opened().use { other ->
                other.strike(other.aDay())
                log.merge(other.pack(listOf(day)).bytes)
            }
            assertEquals(listOf(1, 2), counted)
            assertEquals(listOf(1UL), merged)
        }
    },
    "long work tells how far it is and stops when asked" to {
        opened().use { log ->
            repeat(5) { log.beginDay(date.plusDays(it.toLong()), "Upper Bowl", "Obs1") }
            val watch = Watch(log, 99UL)
            assertEquals(5, log.verify(watch).size)
            assertEquals((0UL..4UL).map { it to 5UL }, watch.seen)
            assertIs<FirnbookException.Usage>(watch.calledBack)
            assertEquals(2UL, assertFailsWith<FirnbookException.Stopped> { log.verify(Watch(log, 2UL)) }.done)
        }
    },
    "a panic inside is an exception and the log is fine afterwards" to {
        val clock = MovingClock()
        opened(clock).use { log ->
            val day = log.aDay()
            log.strike(day)
            clock.broken = true
            assertFailsWith<firnbook.InternalException> { log.stamp("Obs1") }
            clock.broken = false
            log.strike(day)
            assertEquals(2, log.count())
            assertTrue(log.verify().all { it.rowsEqual })
        }
    },
    "a recorder writes, takes back and stands where it stood" to {
        val clock = MovingClock()
        val path = file()
        val log = Logbook.open(path, clock)
        val day = log.aDay()
        val over = mutableListOf<String?>()
        log.listen(Listening(onTurnOver = { over += it.front }))
        log.setUpDrill(day, "Obs1", DrillSetup(Drill(label = "1"), listOf(Target(label = "A"))))
        val recorder = log.recorder(day, "Obs1", "1", 60.0)
        recorder.press(Press.Moment(Moment(step = Step.START)))
        clock.at = clock.at.plusSeconds(200)
        val stamped = recorder.press(Press.Strike(Strike()))
        recorder.addDetails(stamped.id, Press.Strike(Strike(depthCm = 112.cm, outcome = Outcome.HIT)))
        recorder.press(Press.Turn(Rotation(front = "S1")))
        clock.at = clock.at.plusSeconds(61)
        recorder.standing()
        val standing = recorder.standing()
        assertEquals(listOf<String?>("S1"), over)
        log.close()
        Logbook.open(path, clock).use { again ->
            assertEquals(standing, again.recorder(day, "Obs1", "1", 60.0).standing())
        }
    },
)

fun main() {
    // Stale sources are only noticed by asking.
    firnbook.uniffiEnsureInitialized()
    firnbook.log.uniffiEnsureInitialized()
    var failed = 0
    val all = tests + liveTests + correctionTests
    for ((name, test) in all) {
        try {
            test()
        } catch (error: Throwable) {
            failed++
            println("FAILED $name")
            error.printStackTrace(System.out)
        }
    }
    println("${all.size - failed} passed, $failed failed")
    exitProcess(if (failed == 0) 0 else 1)
}
