// What the log measures in, as types of their own: a length in centimetres can't be handed over as metres.
package firnbook.units

import java.time.OffsetDateTime
import java.time.format.DateTimeFormatter

/** A length in centimetres. */
@JvmInline
value class Centimetres(val value: Double) : Comparable<Centimetres> {
    override fun compareTo(other: Centimetres) = value.compareTo(other.value)
}

/** A length in metres. */
@JvmInline
value class Metres(val value: Double) : Comparable<Metres> {
    override fun compareTo(other: Metres) = value.compareTo(other.value)
}

/** An angle in degrees. */
@JvmInline
value class Degrees(val value: Double)

/** A share in percent. */
@JvmInline
value class Percent(val value: Double)

/** `112.cm` */
val Int.cm get() = Centimetres(toDouble())

/** `112.5.cm` */
val Double.cm get() = Centimetres(this)

/** `13.m` */
val Int.m get() = Metres(toDouble())

/** `1.3.m` */
val Double.m get() = Metres(this)

/** `30.deg` */
val Int.deg get() = Degrees(toDouble())

/** `85.percent` */
val Int.percent get() = Percent(toDouble())

/** The instant that a text of the log names. */
fun timeOf(text: String): OffsetDateTime = OffsetDateTime.parse(text)

/** An instant as the log reads it; the log rounds to the millisecond. */
fun textOf(time: OffsetDateTime): String = DateTimeFormatter.ISO_OFFSET_DATE_TIME.format(time)
