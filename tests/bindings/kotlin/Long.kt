// What takes long or must be warm: `LongKt leak [PRESSES]` presses over 200 days, in which resident memory must stay flat; `LongKt calls` tells
// what a call through the layer costs. The last line counts what passed.

import firnbook.log.*
import firnbook.units.cm
import java.io.File
import kotlin.system.exitProcess

const val DAYS = 200
const val SLACK = 1.05
const val CALL_US_MOST = 30.0

fun residentKb(): Long =
    File("/proc/self/status").readLines().first { it.startsWith("VmRSS") }.filter(Char::isDigit).toLong()

/** What is held after a tenth is taken as settled; by the end it may be at most 5 % more. */
fun leak(presses: Int): Boolean = opened().use { log ->
    val days = (0 until DAYS).map { log.beginDay(date.plusDays(it.toLong()), "Upper Bowl", "Obs1").day }
    fun press(from: Int, to: Int) = (from until to).forEach { n ->
        log.write(days[n * DAYS / presses], log.stamp("Obs1").copy(drill = "1"), Body.Strike(Strike(depthCm = 100.cm)))
    }
    press(0, presses / 10)
    System.gc()
    val settled = residentKb()
    press(presses / 10, presses)
    System.gc()
    val now = residentKb()
    println("$presses presses over $DAYS days on the JVM: $settled kB after a tenth, $now kB at the end, %.3f times".format(now.toDouble() / settled))
    now <= settled * SLACK
}

/** Microseconds a call, the median of 50 rounds after 50 rounds that warm up. */
fun callUs(call: () -> Unit): Double {
    val rounds = (1..100).map {
        val begun = System.nanoTime()
        repeat(500) { call() }
        (System.nanoTime() - begun) / 500e3
    }
    return rounds.drop(50).sorted()[25]
}

/** Of a call in which core only copies eight bytes, so that all of its time is the layer's. */
fun calls(): Boolean = opened().use { log ->
    val us = callUs { log.device() }
    println("a call through the layer on the warm JVM: %.1f us, at most %.0f".format(us, CALL_US_MOST))
    us <= CALL_US_MOST
}

fun main(words: Array<String>) {
    val good = when (words[0]) {
        "leak" -> leak(words.getOrNull(1)?.toInt() ?: 100_000)
        "calls" -> calls()
        else -> error("${words[0]} is nothing that is done here")
    }
    println(if (good) "1 passed, 0 failed" else "0 passed, 1 failed")
    exitProcess(if (good) 0 else 1)
}
