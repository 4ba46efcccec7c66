// Reads story.json: as much of JSON as that file uses.

class Json(private val text: String) {
    private var at = 0

    fun value(): Any? {
        space()
        return when (text[at]) {
            '{' -> inside('}') { string().also { space(); at++ } to value() }.toMap()
            '[' -> inside(']') { value() }
            '"' -> string()
            else -> Regex("[^,\\]}\\s]+").matchAt(text, at)!!.value.also { at += it.length }.let {
                it.toBooleanStrictOrNull() ?: it.toDoubleOrNull()
            }
        }
    }

    private fun <T> inside(end: Char, one: () -> T): List<T> {
        val all = mutableListOf<T>()
        at++
        while (true) {
            space()
            when (text[at]) {
                end -> return all.also { at++ }
                ',' -> at++
                else -> all += one()
            }
        }
    }

    private fun string(): String {
        space()
        val end = text.indexOf('"', at + 1)
        return text.substring(at + 1, end).also { at = end + 1 }
    }

    private fun space() {
        while (text[at].isWhitespace()) at++
    }
}
