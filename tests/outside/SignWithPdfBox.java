import java.io.*;
import java.nio.file.*;
import java.util.*;
import org.apache.pdfbox.cos.*;
import org.apache.pdfbox.pdmodel.*;
import org.apache.pdfbox.pdmodel.interactive.digitalsignature.*;
import org.apache.pdfbox.pdmodel.interactive.form.*;

/** Sign a field of a file that is there, by PDFBox, with what another program makes of the bytes to be signed. */
public class SignWithPdfBox {
    public static void main(String[] arguments) throws Exception {
        File in = new File(arguments[0]), out = new File(arguments[1]);
        try (PDDocument document = PDDocument.load(in); OutputStream target = new FileOutputStream(out)) {
            PDSignature signature = new PDSignature();
            signature.setFilter(PDSignature.FILTER_ADOBE_PPKLITE);
            signature.setSubFilter(PDSignature.SUBFILTER_ETSI_CADES_DETACHED);
            signature.setName("R. Ostrander");
            signature.setReason("Seen");
            signature.setSignDate(Calendar.getInstance());
            for (PDField field : document.getDocumentCatalog().getAcroForm(null).getFields()) {
                if (arguments[2].equals(field.getPartialName())) {
                    field.getCOSObject().setItem("V", signature);
                    field.getCOSObject().setNeedToBeUpdated(true);
                }
            }
            Map<COSDictionary, COSBase> places = new LinkedHashMap<>();
            for (PDField field : document.getDocumentCatalog().getAcroForm(null).getFields()) {
                places.put(field.getCOSObject(), field.getCOSObject().getItem("Rect"));
            }
            document.addSignature(signature, new SignatureOptions());
            // An invisible signature would take its place away.
            places.forEach((field, place) -> field.setItem("Rect", place));
            ExternalSigningSupport support = document.saveIncrementalForExternalSigning(target);
            Path content = Files.createTempFile("content", ".bin"), made = Files.createTempFile("made", ".der");
            Files.copy(support.getContent(), content, StandardCopyOption.REPLACE_EXISTING);
            List<String> command = new ArrayList<>(Arrays.asList(arguments).subList(3, arguments.length));
            command.addAll(Arrays.asList("-in", content.toString(), "-out", made.toString()));
            int ended = new ProcessBuilder(command).inheritIO().start().waitFor();
            if (ended != 0) throw new IOException("signing ended with " + ended);
            support.setSignature(Files.readAllBytes(made));
        }
    }
}
