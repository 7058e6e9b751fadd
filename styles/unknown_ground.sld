<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0"
    xmlns="http://www.opengis.net/sld"
    xmlns:ogc="http://www.opengis.net/ogc"
    xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <Name>unknown_ground</Name>
    <UserStyle>
      <Name>unknown_ground</Name>
      <Title>Ground that cannot be judged</Title>
      <Abstract>Void, off the terrain, or seen only across a void: crossed over, so that it is told apart without colour.</Abstract>
      <IsDefault>1</IsDefault>
      <FeatureTypeStyle>
        <Rule>
          <Name>unknown</Name>
          <Title>Cannot be judged</Title>
          <PolygonSymbolizer>
            <Fill>
              <CssParameter name="fill">#B9B4C4</CssParameter>
              <CssParameter name="fill-opacity">0.5</CssParameter>
            </Fill>
          </PolygonSymbolizer>
          <PolygonSymbolizer>
            <Fill>
              <GraphicFill>
                <Graphic>
                  <Mark>
                    <WellKnownName>x</WellKnownName>
                    <Fill>
                      <CssParameter name="fill">#14121A</CssParameter>
                    </Fill>
                    <Stroke>
                      <CssParameter name="stroke">#14121A</CssParameter>
                      <CssParameter name="stroke-width">0.8</CssParameter>
                      <CssParameter name="stroke-linejoin">round</CssParameter>
                    </Stroke>
                  </Mark>
                  <Opacity>0.6</Opacity>
                  <Size>8.8</Size>
                </Graphic>
              </GraphicFill>
            </Fill>
          </PolygonSymbolizer>
        </Rule>
      </FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
