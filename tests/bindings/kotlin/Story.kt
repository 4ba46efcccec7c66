// The story of story.json through the Kotlin sources.

import firnbook.Logbook
import firnbook.log.*
import firnbook.units.Centimetres
import firnbook.units.Degrees
import firnbook.units.Metres
import java.io.File
import java.time.LocalDate
import java.time.OffsetDateTime

typealias Fields = Map<String, Any?>

@Suppress("UNCHECKED_CAST")
val story = Json(File(System.getenv("FIRNBOOK_STORY")).readText()).value() as Fields

@Suppress("UNCHECKED_CAST")
fun Fields.part(name: String) = getValue(name) as Fields

fun Fields.text(name: String) = this[name] as String?

fun Fields.number(name: String) = this[name] as Double?

inline fun <reified E : Enum<E>> Fields.word(name: String): E? = text(name)?.let { enumValueOf<E>(it.uppercase()) }

fun bodyOf(step: Fields): Body = when (val kind = step.text("kind")) {
    "drill" -> Body.Drill(Drill(label = step.text("label")!!, form = step.word<DrillForm>("form"), team = step.text("team"), slopeDeg = step.number("slope_deg")?.let(::Degrees)))
    "target" -> Body.Target(
        Target(
            label = step.text("label")!!, item = step.text("item"), setDepthCm = step.number("set_depth_cm")?.let(::Centimetres),
            direction = step.word<Direction>("direction"), orientation = step.word<Orientation>("orientation"), transmits = step["transmits"] as Boolean?,
        ),
    )
    "moment" -> Body.Moment(Moment(step = step.word<Step>("step")!!))
    "strike" -> Body.Strike(
        Strike(
            depthCm = step.number("depth_cm")?.let(::Centimetres), outcome = step.word<Outcome>("outcome"), direction = step.word<Direction>("direction"),
            lowestReadingM = step.number("lowest_reading_m")?.let(::Metres), holes = step.number("holes")?.toInt()?.toUInt(),
        ),
    )
    "depth" -> Body.Depth(
        Depth(
            depthCm = Centimetres(step.number("depth_cm")!!), method = step.word<Method>("method"), datum = step.word<Datum>("datum"),
            direction = step.word<Direction>("direction"),
        ),
    )
    else -> error("the story has no $kind")
}

fun write(log: Logbook, day: DayId, by: String, step: Fields): EntryId {
    val common = log.stamp(by).copy(at = OffsetDateTime.parse(step.text("at")), drill = step.text("drill"), target = step.text("target"))
    return log.write(day, common, bodyOf(step))
}

@Suppress("UNCHECKED_CAST")
fun tell(log: Logbook, by: String): DayId {
    val day = log.beginDay(LocalDate.parse(story.text("date")), story.text("area")!!, by).day
    val ids = (story["steps"] as List<Fields>).map { write(log, day, by, it) }
    val amend = story.part("amend")
    val fields = amend.part("fields").entries.joinToString(prefix = "{", postfix = "}") { "\"${it.key}\": ${it.value}" }
    log.amend(day, ids[amend.number("step")!!.toInt()], fields, by)
    val void = story.part("void")
    log.voidEntry(day, ids[void.number("step")!!.toInt()], void.text("reason")!!, by)
    return day
}
