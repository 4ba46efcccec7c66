// What takes long or must be warm: `LongKt leak [PRESSES]` presses over 200 days, in which resident memory must stay flat, and counts in its last
// line what passed; `LongKt pace` takes the rounds of pairs.py.

import firnbook.Logbook
import firnbook.Recorder
import firnbook.log.*
import firnbook.units.cm
import java.io.File
import kotlin.system.exitProcess

const val DAYS = 200
const val SLACK = 1.05
const val WARM_CALLS = 25_000

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

fun us(work: () -> Unit): Double {
    val begun = System.nanoTime()
    work()
    return (System.nanoTime() - begun) / 1e3
}

/** The rounds that pairs.py asks for, one a line of input, answered in microseconds. */
fun pace() {
    val held = mutableMapOf<String, Recorder>()
    for (line in generateSequence(::readLine)) {
        val (what, store) = line.split(" ")
        val count by lazy { line.split(" ")[2].toInt() }
        val tookUs = when (what) {
            "open" -> us {
                Logbook.open(store, null).use { log -> log.recorder(log.days()[0].id, "Obs1", "1", 240.0).use { it.standing() } }
            }
            "press" -> {
                val recorder = held.getOrPut(store) { Logbook.open(store, null).let { it.recorder(it.days()[0].id, "Obs1", "1", 240.0) } }
                val each = List(count) { us { recorder.press(Press.Strike(Strike(depthCm = 100.cm)), null) } }
                each.sorted()[count / 2]
            }
            "call" -> Logbook.open(store, null).use { log ->
                repeat(WARM_CALLS) { log.device() }
                us { repeat(count) { log.device() } } / count
            }
            else -> error("$what is no round")
        }
        println(tookUs)
    }
}

fun main(words: Array<String>) {
    val good = when (words[0]) {
        "pace" -> return pace()
        "leak" -> leak(words.getOrNull(1)?.toInt() ?: 100_000)
        else -> error("${words[0]} is nothing that is done here")
    }
    println(if (good) "1 passed, 0 failed" else "0 passed, 1 failed")
    exitProcess(if (good) 0 else 1)
}
