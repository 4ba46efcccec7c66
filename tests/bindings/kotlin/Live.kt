// Crews, live exchange, CSV and progress inside a merge through the Kotlin sources.

import firnbook.*
import firnbook.log.*
import java.io.File
import java.net.InetAddress
import java.net.ServerSocket
import java.util.concurrent.CopyOnWriteArrayList
import java.util.concurrent.atomic.AtomicBoolean
import kotlin.concurrent.thread
import kotlin.test.*

/** Base and a phone of one crew. */
fun crewOfTwo(use: (Logbook, Logbook) -> Unit) = opened().use { base ->
    opened().use { phone ->
        base.foundCrew("Base")
        assertTrue(phone.joinCrew(base.invite(12u), "Obs1").joining)
        use(base, phone)
    }
}

/** Listens while `call` goes on with its address; gives what happened. */
fun listening(log: Logbook, call: (String) -> Unit): List<BaseEvent> = log.openBase("Base", "127.0.0.1:0").use { live ->
    val events = CopyOnWriteArrayList<BaseEvent>()
    val over = AtomicBoolean()
    val hears = thread {
        while (true) {
            val event = live.nextEvent(50u)
            if (event != null) events += event else if (over.get()) break
        }
    }
    try {
        call(live.addresses().single())
    } finally {
        live.end()
        over.set(true)
        hears.join(60_000)
    }
    assertTrue(live.ended() && !hears.isAlive)
    events
}

class Exchanging(val goOn: (ExchangeProgress) -> Boolean) : ExchangeWatch {
    val seen = mutableListOf<ExchangeProgress>()

    override fun goesOn(progress: ExchangeProgress): Boolean {
        seen += progress
        return goOn(progress)
    }
}

fun plain(error: FirnbookException) {
    val sentence = error.sentence()
    assertTrue(sentence.length > 20 && listOf("`", "firnbook ", "--").none { it in sentence }, sentence)
}

val liveTests: Map<String, () -> Unit> = mapOf(
    "devices of a crew exchange everything" to {
        crewOfTwo { base, phone ->
            val day = base.aDay()
            phone.aDay()
            repeat(3) { base.strike(day) }
            repeat(5) { phone.strike(day) }
            val heard = mutableListOf<ULong>()
            phone.listen(Listening(onExchanged = { heard += it.newEntries }))
            val watch = Exchanging { true }
            val events = listening(base) { address ->
                val called = phone.sync("Obs1", listOf(address), watch)
                assertEquals(3UL, called.report.newEntries)
                assertEquals(address, called.address)
                assertTrue(called.report.clock!!.uncertaintyMs >= 10.0)
            }
            assertEquals(listOf(3UL), heard)
            assertEquals("Base", watch.seen.last().peerLabel)
            assertEquals(5UL, events.filterIsInstance<BaseEvent.Ended>().single().report.newEntries)
            assertEquals(8, base.entries(Filter(kind = "strike")).size)
            assertEquals(listOf("Base", "Obs1"), phone.crew()!!.devices.map { it.label })
        }
    },
    "an exchange is stopped by its watch or from another thread" to {
        crewOfTwo { base, phone ->
            val day = phone.aDay()
            repeat(20) { phone.strike(day) }
            listening(base) { address ->
                val stopped = assertFailsWith<FirnbookException.Exchange> { phone.sync("Obs1", listOf(address), Exchanging { it.peer == null }) }
                assertTrue(stopped.stopped)
                phone.sync("Obs1", listOf(address))
            }
            assertEquals(20, base.entries(Filter(kind = "strike")).size)
            ServerSocket(0, 1, InetAddress.getLoopbackAddress()).use { silent ->
                val stopper = Stopper()
                thread { Thread.sleep(300); stopper.stop() }
                val begun = System.nanoTime()
                assertTrue(assertFailsWith<FirnbookException.Exchange> { phone.sync("Obs1", listOf("127.0.0.1:${silent.localPort}"), null, stopper) }.stopped)
                assertTrue(System.nanoTime() - begun < 5_000_000_000)
            }
        }
    },
    "a removed device finds doors closed" to {
        crewOfTwo { base, phone ->
            val day = phone.aDay()
            listening(base) { phone.sync("Obs1", listOf(it)) }
            assertEquals(listOf(false, true), base.removeFromCrew("Obs1").devices.map { it.removed })
            base.rotateCrewKey()
            listening(base) { address -> assertFailsWith<FirnbookException> { phone.sync("Obs1", listOf(address)) } }
            assertFailsWith<FirnbookException.Crew> { base.merge(phone.pack(listOf(day)).bytes) }
            phone.leaveCrew()
            assertNull(phone.crew())
        }
    },
    "what the crew does not allow is said without commands" to {
        crewOfTwo { base, phone ->
            opened().use { alone ->
                val code = base.invite(1u)
                val calls = listOf<() -> Any?>(
                    { alone.invite(1u) }, { base.foundCrew("Again") }, { base.invite(0u) }, { base.joinCrew(code, "Base") }, { alone.joinCrew(code, " ") },
                    { alone.joinCrew("FIRN-", "A") }, { alone.joinCrew("hello", "A") }, { base.removeFromCrew("Base") }, { base.removeFromCrew("Nobody") },
                    { alone.leaveCrew() }, { phone.rotateCrewKey() }, { alone.sync("A") }, { alone.openBase("A") },
                )
                for (call in calls) plain(assertFailsWith<FirnbookException.Crew> { call() })
                for (call in listOf({ phone.sync("A") }, { phone.sync("A", listOf("127.0.0.1:1")) })) plain(assertFailsWith<FirnbookException.Exchange> { call() })
            }
        }
    },
    "a kind comes out as CSV" to {
        opened().use { log ->
            val day = log.aDay()
            log.strike(day) { it.copy(note = "a, \"b\"") }
            val (header, row) = log.exportCsv("strike", Filter()).trim().lines()
            assertEquals(listOf("day", "id", "kind"), header.split(",").take(3))
            assertTrue("depth_cm" in header && "112.0" in row && "\"a, \"\"b\"\"\"" in row)
            assertEquals("kind", assertFailsWith<FirnbookException.Refused> { log.exportCsv("storm", Filter()) }.faults.single().fault.field)
        }
    },
    "one merge tells how far it is and stops inside" to {
        opened().use { from ->
            val day = from.aDay()
            repeat(250) { from.strike(day) }
            val pack = from.pack(listOf(day)).bytes
            opened().use { log ->
                assertEquals(100UL, assertFailsWith<FirnbookException.Stopped> { log.merge(pack, false, Watch(log, 100UL)) }.done)
                assertTrue(log.days().isEmpty())
                val watch = Watch(log, 9999UL)
                log.merge(pack, false, watch)
                assertEquals(listOf(0UL, 100UL, 200UL), watch.seen.map { it.first })
                assertTrue(watch.seen.all { it.second >= 250UL })
                assertEquals(250, log.count())
            }
        }
    },
    "what a newer program or another history wrote is refused by its own type" to {
        val spoiled = System.getenv("FIRNBOOK_SPOILED")
        opened().use { log ->
            val newer = assertFailsWith<FirnbookException.Newer> { log.mergeFile("$spoiled/newer.firn") }
            assertEquals(3L to 2L, newer.found to newer.known)
        }
        opened().use { log ->
            val older = assertFailsWith<FirnbookException.BadPack> { log.mergeFile("$spoiled/older.firn") }
            assertTrue("before the first release" in older.says)
        }
    },
    "what stands against closing and what does not settle have their types" to {
        opened().use { log ->
            val day = log.aDay()
            log.write(day, log.stamp("Obs1"), Body.Drill(Drill(label = "1")))
            log.write(day, log.stamp("Obs1").copy(drill = "1"), Body.Target(Target(label = "A", item = "TX07", transmits = true)))
            val open = assertFailsWith<FirnbookException.StillOpen> { log.closeDay(day, "Obs1") }
            assertEquals(day, open.day)
            assertTrue(open.because.isNotEmpty())
            val missing = log.review(day).first { it.sort == Sort.MISSING }
            val unsettled = assertFailsWith<FirnbookException.NotSettled> { log.settle(day, listOf(missing.code), Verdict.Accept, "Obs1") }
            assertEquals(missing.code, unsettled.code)
            plain(unsettled)
        }
    },
    "listeners hear of what is settled" to {
        opened().use { log ->
            val day = log.aDay()
            log.write(day, log.stamp("Obs1"), Body.Drill(Drill(label = "1")))
            val pair = listOf("Obs1", "Obs2").map { by ->
                log.write(day, log.stamp(by).copy(drill = "1", target = "A"), Body.Strike(Strike(depthCm = firnbook.units.Centimetres(112.0), outcome = Outcome.HIT)))
            }
            val twin = log.review(day).first { it.sort == Sort.TWIN }
            val heard = mutableListOf<EntryId>()
            log.listen(Listening(onWritten = { _, ids -> heard += ids }))
            assertEquals(listOf(twin.code), log.settle(day, listOf(twin.code), Verdict.Same, "Lead"))
            assertEquals(pair.sorted(), heard.sorted())
        }
    },
)
