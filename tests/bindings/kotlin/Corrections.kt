// Correcting, what a history tells, lines that are read again, and the answers of a season through the Kotlin sources.

import firnbook.*
import firnbook.log.*
import kotlin.test.*

fun Logbook.only() = entries(Filter()).single()

val correctionTests: Map<String, () -> Unit> = mapOf(
    "what was struck out comes back and its history tells all" to {
        opened().use { log ->
            val day = log.aDay()
            val entry = log.strike(day)
            log.amend(day, entry, """{"depth_cm": 118}""", "Obs2")
            assertEquals(listOf(entry), log.voidEntry(day, entry, "pressed twice", "Lead").changed)
            assertEquals(0, log.count())
            assertEquals(listOf(entry), log.restore(day, entry, "Obs3").changed)
            assertNull(log.only().noted.void)
            val steps = log.history(day, entry)
            assertEquals(listOf("written" to "Obs1", "depth_cm" to "Obs2", "void" to "Lead", "void" to "Obs3"), steps.map { it.field to it.by })
            assertEquals(listOf("118", "\"pressed twice\"", "null"), steps.drop(1).map { it.v })
        }
    },
    "an entry moves to its day, and both days are told of" to {
        opened().use { log ->
            val day = log.aDay()
            val other = log.beginDay(date, "Lower Bowl", "Obs1").day
            val entry = log.strike(day)
            val heard = mutableListOf<DayId>()
            log.listen(Listening(onWritten = { of, _ -> heard += of }))
            log.moveEntry(day, entry, other, "Lead")
            assertEquals(listOf(day, other), heard)
            assertEquals(other to entry, log.only().let { it.day to it.noted.id })
            assertFailsWith<FirnbookException.Fixed> { log.moveEntry(day, entry, other, "Lead") }
        }
        Unit
    },
    "exported lines are read again as they were written" to {
        opened().use { log ->
            val day = log.aDay()
            log.strike(day) { it.copy(note = "a \"b\"\nc ü") }
            val lines = log.exportLines(Filter())
            opened().use { other ->
                assertEquals(1, other.writeLines(other.aDay(), "Lead", lines).ids.size)
                assertEquals(lines, other.exportLines(Filter()))
            }
        }
    },
    "a season answers" to {
        opened().use { log ->
            val day = log.aDay()
            fun write(at: Long, body: Body) =
                log.write(day, log.stamp("Lead").let { it.copy(at = it.at.plusSeconds(at), drill = "1", target = "A") }, body)
            log.write(day, log.stamp("Lead"), Body.Person(Person(callSign = "Fox", role = Role.SEARCHER)))
            log.write(day, log.stamp("Lead"), Body.Check(Check(person = "Fox", transmits = false, receives = true, batteryPct = firnbook.units.Percent(80.0))))
            log.write(day, log.stamp("Lead").copy(drill = "1"), Body.Interference(Interference(source = InterferenceSource.RADIO)))
            write(0, Body.Moment(Moment(step = Step.START)))
            write(200, Body.Strike(Strike(depthCm = firnbook.units.Centimetres(112.0), outcome = Outcome.HIT, person = "Fox")))
            val end = log.stamp("Lead").at.plusSeconds(310)
            write(220, Body.Rotation(Rotation(front = "Fox", endedAt = end)))
            write(900, Body.Depth(Depth(depthCm = firnbook.units.Centimetres(111.0), method = Method.TAPE, datum = Datum.FIRST_CONTACT)))
            val season = Season()
            val strike = log.timesStats(season, TimesAsk(thresholds = defaultThresholds())).steps.single { it.step == Step.STRIKE }
            assertEquals(1UL to 200.0, strike.figures.n to strike.figures.medianS?.let { Math.round(it * 10) / 10.0 })
            assertEquals(1UL, log.methodsStats(season).n)
            assertEquals(listOf(1UL), log.checksStats(season).figures.failed.map { it.k }.filter { it > 0UL })
            assertEquals(1UL, log.diggingStats(season).figures.turns.n)
            assertEquals(InterferenceSource.RADIO, log.interferenceStats(season, Step.STRIKE).sources.single().source)
            assertEquals(listOf("Fox"), log.personStats(season, "Fox").callSigns)
        }
    },
)
